"""A lock on a file that the operating system holds for this process and lets go when it ends, however it ends."""

from __future__ import annotations

import errno
import os
import socket
import sys
from contextlib import suppress
from pathlib import Path
from typing import Final, Self

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
