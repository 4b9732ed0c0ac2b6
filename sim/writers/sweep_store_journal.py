"""The journal of a sweep: every finished point at once on the disk, one record behind the other.

A record is its header (point, state, length, checksum) and its payload: the figures as numbers, or the reason as text.
A record cut short by a kill or a power failure, and whatever follows it, counts as not written.
"""

from __future__ import annotations

import os
import struct
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np

from ..studies.figures import LayoutFigures
from ..studies.sweep_points import PointResult
from ..studies.sweep_records import DONE, IMPOSSIBLE

MAGIC: Final = b"bounceplan sweep journal 1\n"
_HEADER: Final = struct.Struct("<IBII")
LONGEST: Final = 1 << 28
"""No record is longer; a length beyond is a torn header."""
NAMES: Final = tuple(each.name for each in fields(LayoutFigures))


@dataclass(frozen=True, slots=True)
class JournalRecord:
    """One point as written: its state, and the bytes of its figures or of its reason."""

    point: int
    state: int
    payload: bytes

    @classmethod
    def of(cls, result: PointResult) -> JournalRecord:
        """Make the record of a result."""
        if result.figures is None:
            return cls(result.point, IMPOSSIBLE, result.reason.encode())
        arrays = (getattr(result.figures, name) for name in NAMES)
        return cls(result.point, DONE, b"".join(np.asarray(array, dtype="<f8").tobytes() for array in arrays))

    @property
    def reason(self) -> str:
        """Why the point is impossible."""
        return self.payload.decode() if self.state == IMPOSSIBLE else ""

    def numbers(self) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        """All figures of a finished point, array behind array."""
        return np.frombuffer(self.payload, dtype="<f8")


def open_journal(path: Path) -> BinaryIO | None:
    """Open a journal for this process alone, where the system knows how; None when another process has it."""
    file = path.open("r+b" if path.exists() else "w+b")
    if os.name == "posix":
        import fcntl

        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            file.close()
            return None
    return file


def cut_journal(file: BinaryIO, path: Path, key: str) -> None:
    """Cut an open journal off behind its last whole record; one of another plan, or none, becomes an empty one."""
    end = _whole_bytes(path, key)
    if end == 0:
        file.truncate(0)
        file.seek(0)
        file.write(MAGIC + key.encode() + b"\n")
    else:
        file.truncate(end)
        file.seek(end)
    sync(file)


def add_records(file: BinaryIO, records: Iterable[JournalRecord]) -> None:
    """Write records and see them onto the disk."""
    packed = []
    for one in records:
        checked = zlib.crc32(one.payload, zlib.crc32(struct.pack("<IB", one.point, one.state)))
        packed.append(_HEADER.pack(one.point, one.state, len(one.payload), checked) + one.payload)
    file.write(b"".join(packed))
    sync(file)


def empty_journal(file: BinaryIO, key: str) -> None:
    """Forget all records, which are safe elsewhere."""
    file.truncate(len(MAGIC) + len(key) + 1)
    file.seek(0, os.SEEK_END)
    sync(file)


def read_journal(path: Path, key: str) -> Iterator[JournalRecord]:
    """Whole records of the journal of the plan with this key, in the order in which they were written."""
    if not path.is_file():
        return
    with path.open("rb") as file:
        if file.read(len(MAGIC)) != MAGIC or file.readline().strip().decode("ascii", "replace") != key:
            return
        while True:
            record = _next_record(file)
            if record is None:
                return
            yield record


def sync(file: BinaryIO) -> None:
    """Push what was written out of all buffers."""
    file.flush()
    os.fsync(file.fileno())


def _next_record(file: BinaryIO) -> JournalRecord | None:
    header = file.read(_HEADER.size)
    if len(header) < _HEADER.size:
        return None
    point, state, length, checked = _HEADER.unpack(header)
    payload = file.read(length) if length < LONGEST else b""
    if len(payload) < length or zlib.crc32(payload, zlib.crc32(struct.pack("<IB", point, state))) != checked:
        return None
    return JournalRecord(point, state, payload)


def _whole_bytes(path: Path, key: str) -> int:
    """Length of the journal up to its last whole record; 0 when it is not one of this plan."""
    if not path.is_file():
        return 0
    with path.open("rb") as file:
        if file.read(len(MAGIC)) != MAGIC or file.readline().strip().decode("ascii", "replace") != key:
            return 0
    start = len(MAGIC) + len(key) + 1
    return start + sum(_HEADER.size + len(one.payload) for one in read_journal(path, key))
