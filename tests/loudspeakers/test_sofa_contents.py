"""AES69 files made to do harm, or harmed: refused in a sentence, in bounded time, and nothing else is read."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest

from sim.errors import SceneError
from sim.loudspeakers import sofa_contents
from sim.loudspeakers.sofa_child import LARGEST_MEMORY_BYTES, MOST_NUMBERS
from sim.loudspeakers.sofa_contents import contents_from, read_contents
from sim.loudspeakers.sofa_file import read_sofa_file
from tests.loudspeakers.test_sofa_file import transfer

Harm = Callable[[h5py.File, Path], None]
SECONDS = 15.0


def external_link(file: h5py.File, home: Path) -> None:
    with h5py.File(home / "elsewhere.h5", "w") as other:
        other["Data.Real"] = np.ones(file["Data.Real"].shape)
    del file["Data.Real"]
    file["Data.Real"] = h5py.ExternalLink(str(home / "elsewhere.h5"), "/Data.Real")


def soft_loop(file: h5py.File, _: Path) -> None:
    del file["N"]
    file["N"] = h5py.SoftLink("/M2")
    file["M2"] = h5py.SoftLink("/N")


def group_in_itself(file: h5py.File, _: Path) -> None:
    del file["N"]
    loop = file.create_group("N")
    loop["N"] = loop


def raw_storage_elsewhere(file: h5py.File, home: Path) -> None:
    shape = file["Data.Real"].shape
    (home / "secret.bin").write_bytes(os.urandom(8 * int(np.prod(shape))))
    del file["Data.Real"]
    file.create_dataset("Data.Real", shape, "f8", external=[(str(home / "secret.bin"), 0, h5py.h5f.UNLIMITED)])


def virtual(file: h5py.File, home: Path) -> None:
    shape = file["Data.Real"].shape
    del file["Data.Real"]
    layout = h5py.VirtualLayout(shape, "f8")
    layout[:] = h5py.VirtualSource(str(home / "other.h5"), "x", shape)
    file.create_virtual_dataset("Data.Real", layout)


def replaced(name: str, rows: object, **more: object) -> Harm:
    def harm(file: h5py.File, _: Path) -> None:
        del file[name]
        file.create_dataset(name, data=rows, **more)

    return harm


def claims(shape: tuple[int, ...], **more: object) -> Harm:
    def harm(file: h5py.File, _: Path) -> None:
        del file["Data.Real"]
        file.create_dataset("Data.Real", shape, "f8", **more)

    return harm


def nothing(file: h5py.File, _: Path) -> None:
    del file["N"]
    file["N"] = h5py.Empty("f8")


def references(file: h5py.File, _: Path) -> None:
    pointed = file["Data.Real"].ref
    del file["N"]
    file.create_dataset("N", data=[pointed], dtype=h5py.ref_dtype)


def long_attribute(file: h5py.File, _: Path) -> None:
    del file.attrs["RoomType"]
    file.attrs.create("RoomType", np.bytes_(b"y" * 60_000))


HARMS: dict[str, tuple[Harm, str]] = {
    "external link": (external_link, "its Data.Real is a link to another place"),
    "links that lead to each other": (soft_loop, "its N is a link to another place"),
    "group in itself": (group_in_itself, "its N holds no numbers"),
    "raw storage elsewhere": (raw_storage_elsewhere, "its Data.Real lies in other files"),
    "virtual": (virtual, "its Data.Real lies in other files"),
    "texts for numbers": (replaced("N", np.array([b"1", b"2"])), "its N holds no numbers"),
    "compound": (replaced("N", np.zeros(3, dtype=[("a", "f8"), ("b", "i4")])), "its N holds no numbers"),
    "references": (references, "its N holds no numbers"),
    "nothing at all": (nothing, "its N holds no numbers"),
    "not finite": (replaced("ReceiverPosition", np.full((1, 3), np.nan)), "not finite"),
    "claimed size": (claims((10**6, 10**3, 10**3), chunks=(1, 100, 100)), "it claims 1e+12 numbers"),
    "claimed chunks": (claims((10**4, 1, 10**3), chunks=(10**4, 10**2, 10**3), maxshape=(None, None, None)), "pieces"),
    "long attribute": (long_attribute, "RoomType"),
    "empty axis": (claims((0, 0, 0)), "the shape (0, 0, 0)"),
    "one number": (replaced("Data.Real", 1.0), "the shape ()"),
    "emitters as one number": (replaced("EmitterPosition", 1.0), ""),
}


@pytest.mark.parametrize("kind", HARMS)
def test_harm_is_refused_in_a_sentence(kind: str, tmp_path: Path) -> None:
    harm, words = HARMS[kind]
    home = tmp_path / "home"
    home.mkdir()
    path = transfer(home / "a.sofa")
    with h5py.File(path, "a") as file:
        harm(file, tmp_path)
    begin = time.perf_counter()
    if not words:
        read_sofa_file(path, "file")
        return
    try:
        reported = "; ".join(read_sofa_file(path, "file").notes)
        assert kind == "long attribute"
    except SceneError as fault:
        reported = str(fault)
    assert words in reported
    assert time.perf_counter() - begin < SECONDS
    assert len(reported) < 1000


def test_a_bomb_within_the_limit_costs_no_more_than_the_limit(tmp_path: Path) -> None:
    """Zeros pack a thousand to one; what they unpack to is bounded before anything is unpacked."""
    path = transfer(tmp_path / "a.sofa")
    with h5py.File(path, "a") as file:
        del file["Data.Real"]
        file.create_dataset("Data.Real", (MOST_NUMBERS, 1, 1), "f4", chunks=(10**6, 1, 1), compression="gzip")
    with pytest.raises(ValueError, match="it claims 1e\\+08 numbers"):
        read_contents(path)
    assert 8 * MOST_NUMBERS < LARGEST_MEMORY_BYTES


def test_what_is_not_read_in_time_is_given_up(tmp_path: Path) -> None:
    """A pipe that nobody writes to stands for a file on which the library hangs."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    begin = time.perf_counter()
    with pytest.raises(ValueError, match="it was not read within 2 s, so it is damaged"):
        sofa_contents._ask_a_process(pipe, 2)
    assert time.perf_counter() - begin < SECONDS


@pytest.mark.parametrize(
    "answer",
    [
        b"",
        b"{}",
        b"[]\n",
        b'{"texts": {}}\n',
        b"\xff\n",
        b'{"texts": {}, "variables": [{"name": "N", "texts": {}, "shape": [9], "dtype": "<f8"}]}\nxx',
        b'{"texts": {}, "variables": [{"name": "N", "texts": {}, "shape": [-1], "dtype": "O"}]}\n12345678',
    ],
)
def test_a_process_that_fell_over_is_told_in_a_sentence(answer: bytes) -> None:
    with pytest.raises(ValueError, match="reading it broke off"):
        contents_from(answer)


def test_the_same_content_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, copy = transfer(tmp_path / "a.sofa"), tmp_path / "b.sofa"
    copy.write_bytes(path.read_bytes())
    first = read_contents(path)
    monkeypatch.setattr(sofa_contents, "_answer", lambda *_: pytest.fail("read twice"))
    assert read_contents(copy) is first
    with h5py.File(copy, "a") as file:
        file["N"][0] += 1.0
    with pytest.raises(pytest.fail.Exception):
        read_contents(copy)
    monkeypatch.undo()
    assert read_contents(copy).numbers("N")[0] == first.numbers("N")[0] + 1.0
