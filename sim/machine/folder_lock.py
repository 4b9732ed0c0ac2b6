"""One process at a time in a folder that is worked in for long, such as that of a sweep.

The lock is a transaction that is begun on an empty SQLite database and never ended: the database asks the system for it
in the way each system has, and nobody is kept from reading.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import suppress
from pathlib import Path
from typing import Final

from sim.errors import OutputError

LOCK: Final = "sweep.lock"
_OURS: Final[set[Path]] = set()
"""Folders that this process has the right to work in."""


class FolderLock:
    """The right to work in a folder, until `release` or the end of the process."""

    def __init__(self, folder: Path) -> None:
        """Take the lock.

        Raises
        ------
        OutputError
            If another process has it, or the drive knows no locks.
        """
        self.path = folder / LOCK
        self._place = folder.resolve()
        while True:
            try:
                self.path.touch()
                before = self.path.stat().st_ino
                self._base = sqlite3.connect(self.path, timeout=0.0, isolation_level=None)
            except (OSError, sqlite3.Error) as fault:
                raise OutputError(f"{folder}: no file can be made here ({fault}); choose another with -o.") from None
            try:
                self._base.execute("BEGIN IMMEDIATE")
                if self.path.stat().st_ino == before:
                    _OURS.add(self._place)
                    return
            except FileNotFoundError:
                pass  # whoever had it before took the file away meanwhile
            except sqlite3.Error as fault:
                self._base.close()
                if getattr(fault, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY:
                    raise OutputError(
                        f"{folder}: another sweep is at work in this folder; wait for it, or choose another with -o."
                    ) from None
                raise OutputError(
                    f"{folder}: the drive cannot keep two sweeps apart ({fault}); choose a folder on a disk of this "
                    "machine with -o."
                ) from None
            self._base.close()

    def release(self, *, remove: bool = False) -> None:
        """Let others have it; with `remove` the file goes too."""
        _OURS.discard(self._place)
        if remove and os.name == "posix":  # elsewhere an open file cannot be taken away
            with suppress(OSError):
                self.path.unlink()
        self._base.close()
        if remove and os.name != "posix":
            with suppress(OSError):
                self.path.unlink()


def refuse_while_worked_in(folder: Path) -> None:
    """Refuse to replace a folder in which another process is at work.

    Raises
    ------
    OutputError
        If one is.
    """
    if (folder / LOCK).exists() and folder.resolve() not in _OURS:
        FolderLock(folder).release()
