"""Files of compiled kernels: used when whole, compiled anew when not, and never a traceback."""

from __future__ import annotations

import pickle
import tempfile
from pathlib import Path
from typing import Any

import pytest

from sim.machine import kernel_cache
from sim.machine.kernel_cache import MAGIC, KernelFolder, is_whole, kept


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(kernel_cache, "kernel_folder", lambda: KernelFolder(tmp_path))
    return tmp_path


def made() -> Any:
    """The same function each time, as in a new process."""

    def add_one(x):  # type: ignore[no-untyped-def]
        return x + 1

    return kept()(add_one)


def files(folder: Path) -> list[Path]:
    return sorted(folder.iterdir())


def hits(kernel: Any) -> int:
    return sum(kernel.stats.cache_hits.values())


def test_what_was_compiled_is_found_again_for_its_own_types(folder: Path) -> None:
    assert made()(3) == 4
    (file,) = files(folder)
    assert is_whole(file)
    assert file.name in kernel_cache.files_touched()
    again = made()
    assert again(3) == 4
    assert hits(again) == 1
    assert again(0.5) == 1.5
    assert hits(again) == 1
    assert len(files(folder)) == 2


@pytest.mark.parametrize("length", [0, 5, len(MAGIC), len(MAGIC) + 10, len(MAGIC) + 32, 500, -1])
def test_a_file_cut_short_is_made_anew(folder: Path, length: int) -> None:
    made()(3)
    (file,) = files(folder)
    whole = file.read_bytes()
    file.write_bytes(whole[:length])
    assert not is_whole(file)
    again = made()
    assert again(3) == 4
    assert hits(again) == 0
    assert files(folder) == [file]
    assert is_whole(file)
    assert hits(again) == 0


def test_a_turned_bit_is_noticed(folder: Path) -> None:
    made()(3)
    (file,) = files(folder)
    turned = bytearray(file.read_bytes())
    turned[-700] ^= 4
    file.write_bytes(bytes(turned))
    again = made()
    assert again(3) == 4
    assert hits(again) == 0


@pytest.mark.parametrize("inside", [b"no pickle", pickle.dumps(("something", "else")), pickle.dumps(None)])
def test_a_whole_file_of_something_else_is_made_anew(folder: Path, inside: bytes) -> None:
    import hashlib

    made()(3)
    (file,) = files(folder)
    file.write_bytes(MAGIC + hashlib.sha256(inside).digest() + inside)
    again = made()
    assert again(3) == 4
    assert hits(again) == 0


def test_a_folder_that_cannot_be_written_serves_what_it_has(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made()(3)

    def shut(*_: object, **__: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(tempfile, "mkstemp", shut)
    again = made()
    assert again(3) == 4
    assert hits(again) == 1
    assert again(0.5) == 1.5
    assert len(files(folder)) == 1


def test_a_folder_that_is_gone_is_no_fault(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernel_cache, "kernel_folder", lambda: KernelFolder(folder / "gone"))
    assert made()(3) == 4
