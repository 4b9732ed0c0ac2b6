"""Locks that the operating system or a database holds for a process and lets go when it ends, however it ends."""

from __future__ import annotations

import errno
import os
import socket
import sqlite3
import sys
from contextlib import suppress
from pathlib import Path
from typing import Final, Self

from sim.errors import OutputError

_TAKEN: Final = frozenset({errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK})
_FAR_OFF: Final = 1 << 30
"""Windows keeps others from reading the very byte that is locked, so one is taken that no file has."""


class NoLocks(Exception):  # noqa: N818
    """The file system knows no locks, as some network disks do."""


class Lock:
    """A lock file that is held, or on a disk without locks one that only says whose it is."""

    def __init__(self, path: Path, handle: int) -> None:
        self._path, self._handle = path, handle

    @classmethod
    def unheld(cls, path: Path) -> Self:
        """A lock file where there are no locks."""
        return cls(path, os.open(path, os.O_RDWR | os.O_CREAT, 0o666))

    def write(self, words: bytes) -> None:
        """Replace what the file says."""
        os.ftruncate(self._handle, 0)
        os.lseek(self._handle, 0, os.SEEK_SET)
        os.write(self._handle, words)

    def close(self) -> None:
        """Let go of the lock; the file stays."""
        os.close(self._handle)

    def remove(self) -> None:
        """Take the file away and let go of the lock."""
        if os.name == "nt":  # an open file cannot be removed there
            self.close()
        with suppress(OSError):
            self._path.unlink()
        if os.name != "nt":
            self.close()


def take_lock(path: Path, *, make: bool = True) -> Lock | None:
    """Lock a file for this process alone; None when another has it.

    Raises
    ------
    FileNotFoundError
        If its folder is not there (any more), or with make=False the file.
    NoLocks
        If the file system knows no locks.
    """
    handle = os.open(path, os.O_RDWR | (os.O_CREAT if make else 0), 0o666)
    try:
        if _locked(handle) and _still_there(path, handle):
            return Lock(path, handle)
    except BaseException:
        os.close(handle)
        raise
    os.close(handle)
    return None


def _locked(handle: int) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(handle, _FAR_OFF, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        if fault.errno in _TAKEN:
            return False
        raise NoLocks from fault
    return True


def _still_there(path: Path, handle: int) -> bool:
    """Whether the file we locked is still the one of that name; its holder may have removed it meanwhile."""
    try:
        return os.path.samestat(path.stat(), os.fstat(handle))
    except FileNotFoundError:
        return False


def holder_lives(process: int, host: str) -> bool:
    """Whether a process is running, as far as can be told; one on another machine counts as running."""
    if host != socket.gethostname() or os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


# One process at a time in a folder that is worked in for long, such as that of a sweep.
#
# The lock is a transaction that is begun on an empty SQLite database and never ended: the database asks the system
# for it in the way each system has, and nobody is kept from reading.

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
