"""The journal of a sweep: an SQLite database in which every finished point is safe before the next is begun.

A row is a point: its state, its figures as numbers or its reason as text, and a checksum.  Rows are written in
transactions with a rollback journal, which unlike write-ahead logging also works on network drives; whatever ends the
process, what was committed stays and what was not is as if it had never been.
"""

from __future__ import annotations

import os
import sqlite3
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Final

import numpy as np

from sim.errors import OutputError
from sim.layouts.figures import LayoutFigures
from sim.layouts.records import DONE, IMPOSSIBLE
from sim.layouts.workers import PointResult

PATIENCE_S: Final = 20.0
"""How long to wait for another process that reads or writes just now."""
NAMES: Final = tuple(each.name for each in fields(LayoutFigures))
_TABLES: Final = """
CREATE TABLE IF NOT EXISTS plan (key TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS points (point INTEGER PRIMARY KEY, state INTEGER, payload BLOB, crc INTEGER);
"""
_DISK: Final = frozenset({sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN})


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

    @property
    def crc(self) -> int:
        """Checksum of everything else."""
        return zlib.crc32(self.payload, zlib.crc32(f"{self.point} {self.state}".encode()))


class Journal:
    """An open journal."""

    def __init__(self, path: Path, key: str) -> None:
        """Open the journal of the plan with this key; one of another plan, or none, becomes an empty one.

        Raises
        ------
        OutputError
            If it is damaged, or the disk does not take it.
        """
        self.path = path
        with _reported(path):
            self._base = sqlite3.connect(path, timeout=PATIENCE_S, isolation_level=None)
        try:
            with _reported(path):
                self._base.execute("PRAGMA synchronous = EXTRA")
                self._base.executescript(_TABLES)
                if self._base.execute("SELECT key FROM plan").fetchall() != [(key,)]:
                    with self._transaction():
                        self._base.execute("DELETE FROM plan")
                        self._base.execute("DELETE FROM points")
                        self._base.execute("INSERT INTO plan VALUES (?)", (key,))
        except BaseException:
            self._base.close()
            raise

    def add(self, records: Iterable[JournalRecord]) -> None:
        """Write all records and see them onto the disk, or none; raises OutputError as `Journal`."""
        rows = [(one.point, one.state, one.payload, one.crc) for one in records]
        with _reported(self.path), self._transaction():
            self._base.executemany("INSERT OR REPLACE INTO points VALUES (?, ?, ?, ?)", rows)

    def records(self) -> Iterator[JournalRecord]:
        """All records, in the order of their points; raises OutputError as `Journal`."""
        return _records(self._base, self.path)

    def empty(self) -> None:
        """Forget all records, which are safe elsewhere; raises OutputError as `Journal`."""
        with _reported(self.path), self._transaction():
            self._base.execute("DELETE FROM points")

    def close(self) -> None:
        """Let go of the file."""
        self._base.close()

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._base.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._base.execute("COMMIT")
        except BaseException:
            with suppress(sqlite3.Error):  # some faults have rolled back already
                self._base.execute("ROLLBACK")
            raise


def read_journal(path: Path) -> tuple[str, list[JournalRecord]]:
    """Key and records of a journal, which may be written to meanwhile; nothing where there is none.

    Raises
    ------
    OutputError
        If it is damaged.
    """
    if not path.is_file():
        return "", []
    # what a kill left half-written is taken back first, which a folder that can only be read does not allow
    mode = "rw" if os.access(path, os.W_OK) and os.access(path.parent, os.W_OK) else "ro"
    with _reported(path):
        address = f"{path.resolve().as_uri()}?mode={mode}"
        with closing(sqlite3.connect(address, uri=True, timeout=PATIENCE_S, isolation_level=None)) as base:
            base.execute("BEGIN")
            if base.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,):
                return "", []  # killed before anything was in it
            keys = base.execute("SELECT key FROM plan").fetchall()
            return (keys[0][0], list(_records(base, path))) if keys else ("", [])


def _records(base: sqlite3.Connection, path: Path) -> Iterator[JournalRecord]:
    with _reported(path):
        for point, state, payload, crc in base.execute("SELECT * FROM points ORDER BY point"):
            record = JournalRecord(point, state, bytes(payload))
            if record.crc != crc:
                raise sqlite3.DatabaseError(f"layout {point} is not as it was written")
            yield record


@contextmanager
def _reported(path: Path) -> Iterator[None]:
    """Turn faults of the database into one sentence."""
    try:
        yield
    except (sqlite3.Error, TypeError, ValueError) as fault:
        if isinstance(fault, sqlite3.OperationalError) and (code := getattr(fault, "sqlite_errorcode", 1) & 0xFF) != 1:
            if code in _DISK:
                raise OutputError(
                    f"{path.parent}: the disk does not take the results ({fault}); make room and give the same "
                    "command again, it continues."
                ) from None
            raise OutputError(f"{path}: another process holds it ({fault}); try again when that is done.") from None
        raise OutputError(
            f"{path}: the journal of this sweep is damaged ({fault}); delete that file and give the same command again,"
            " layouts that are in sweep.h5 are kept."
        ) from None
