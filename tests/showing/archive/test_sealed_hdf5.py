"""Whatever happens to a sealed file, it is refused in one sentence, and before the HDF5 library sees it."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from sim.errors import OutputError
from sim.showing.archive import results as archive
from sim.showing.archive.results import read_results, write_results
from sim.showing.archive.sealed_hdf5 import BLOCK, SIGNATURE, Seal, seal_of, sealed_hdf5
from tests.showing.archive.test_old_layouts import unpacked

FLIPS = 600


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Results of a small room, as they are written today."""
    folder = tmp_path_factory.mktemp("sealed")
    write_results(read_results(unpacked("layout-2-last", folder)), folder / "results.h5")
    return (folder / "results.h5").read_bytes()


@pytest.fixture
def blind(monkeypatch: pytest.MonkeyPatch, written: bytes) -> None:
    """HDF5 must not be asked: on a damaged file it can hang, or end the process.

    What stands in the seal alone may be wrong, such as one bit of the layout's number: then HDF5 sees a whole file.
    """
    opened = h5py.File

    def refuse(file: Any, mode: str) -> h5py.File:
        assert file.getvalue()[BLOCK:] == written[BLOCK:], "HDF5 was given a damaged file"
        return opened(file, mode)

    monkeypatch.setattr(archive.h5py, "File", refuse)


def refusal(path: Path) -> str:
    with pytest.raises(OutputError) as caught:
        read_results(path)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.usefixtures("blind")
def test_any_flipped_bit_is_refused(written: bytes, tmp_path: Path) -> None:
    """All bits of the seal, and seeded ones of the rest: headers, names, numbers, texts, unused space."""
    random = np.random.default_rng(20)
    path = tmp_path / "results.h5"
    places = np.concatenate([np.arange(8 * 160), random.integers(8 * 160, 8 * len(written), FLIPS)])
    for place in places.tolist():
        damaged = bytearray(written)
        damaged[place // 8] ^= 1 << (place % 8)
        path.write_bytes(damaged)
        assert refusal(path)


@pytest.mark.usefixtures("blind")
def test_cut_lengthened_and_exchanged_bytes_are_refused(written: bytes, tmp_path: Path) -> None:
    random = np.random.default_rng(21)
    path = tmp_path / "results.h5"
    for length in (0, 1, 100, BLOCK - 1, BLOCK, BLOCK + 8, *random.integers(BLOCK, len(written), 50).tolist()):
        path.write_bytes(written[:length])
        assert refusal(path)
    path.write_bytes(written + b"\0")
    assert "damaged or changed" in refusal(path)
    middle = len(written) // 2
    path.write_bytes(written[:middle] + bytes(4096) + written[middle + 4096 :])
    assert "damaged or changed" in refusal(path)


def test_what_another_program_changed_is_refused(written: bytes, tmp_path: Path) -> None:
    path = tmp_path / "results.h5"
    path.write_bytes(written)
    with h5py.File(path, "r+") as file:
        file["responses/transition_hz"][()] = 1.0
    assert "damaged or changed" in refusal(path)


def test_any_hdf5_program_opens_the_file_and_anybody_can_check_the_seal(written: bytes, tmp_path: Path) -> None:
    path = tmp_path / "results.h5"
    path.write_bytes(written)
    with h5py.File(path) as file:
        assert file.userblock_size == BLOCK
        assert file.attrs["layout"] == 5
    # HDF5 File Format Specification 3.0, II.A: the superblock may begin at byte 0, 512, 1024, 2048 and so on.
    assert written[BLOCK:].startswith(SIGNATURE)
    first, length, digest, _ = written[:BLOCK].split(b"\n", 3)
    assert first == b"bounceplan results, layout 5"
    assert length == b"bytes %d" % (len(written) - BLOCK)
    assert digest == b"sha256 " + hashlib.sha256(written[BLOCK:]).hexdigest().encode()


def test_a_seal_says_what_it_was_given() -> None:
    seal = Seal("results", 3, 12345, "0123456789abcdef" * 4)
    assert len(seal.block()) == BLOCK
    assert seal_of(seal.block()) == seal
    assert seal_of(seal.block()[:-1]) is None
    assert seal_of(seal.block()[:-1] + b"x") is None


def test_the_same_content_gives_the_same_bytes() -> None:
    def fill(file: h5py.File) -> None:
        file["numbers"] = np.arange(10.0)
        file.attrs["text"] = "demo"

    one, two = (sealed_hdf5("demo", 1, fill) for _ in range(2))
    assert one == two
