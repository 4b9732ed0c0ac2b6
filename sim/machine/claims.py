"""A place that one process alone may write to: its hidden folder, its lock, and what is done with those of the dead.

Whoever writes a file or a folder first claims its place.  The claim is a hidden folder beside it,
`.NAME.bounceplan-part`, with a file `lock` that the operating system holds for the process, so that the lock goes when
the process does, however it ended.  New things are made inside (`new`) and moved to their place when they are whole.

A hidden folder whose lock nobody holds is of a run that was killed: the next run that writes beside it puts back what
was being replaced (`old`) if its place is empty, and clears the rest.
"""

from __future__ import annotations

import atexit
import hashlib
import os
import shutil
import socket
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from sim.errors import OutputError
from sim.machine.locks import Lock, NoLocks, holder_lives, take_lock
from sim.machine.stopping import go_on_unless_asked, held

SUFFIX: Final = ".bounceplan-part"
LOCK: Final = "lock"
NEW: Final = "new"
OLD: Final = "old"
LONGEST_NAME: Final = 255
"""Bytes in a name, on nearly every file system."""
PATIENCE_S: Final = 0.5
"""A lock may be held for a moment by a process that only looks whether its holder lives."""


class Claim:
    """A claimed place; `part` is where its new content is made."""

    def __init__(self, place: Path, work: Path, lock: Lock) -> None:
        self.place, self.work, self._lock = place, work, lock
        self.part = work / NEW
        self._process = os.getpid()
        _unreleased.add(self)

    def put_in_place(self) -> None:
        """Move `part` to the place, in one step as everybody else sees it.

        A folder that is there is swapped with it, or where the system cannot, moved aside first; a run killed in
        between is mended by the next.

        Raises
        ------
        OSError
            If it cannot be moved; what was there before is there.
        KeyboardInterrupt
            If there was a request to stop that nobody heeded yet.
        """
        go_on_unless_asked()
        with held():
            if not self.place.is_dir() or self.part.is_file():
                self.part.replace(self.place)
            elif not _exchange(self.part, self.place):
                self.place.rename(self.work / OLD)
                try:
                    self.part.rename(self.place)
                except BaseException:
                    (self.work / OLD).rename(self.place)
                    raise

    def release(self) -> None:
        """Take the hidden folder away with all that is in it, and let others have the place."""
        with held():
            if self not in _unreleased:
                return
            _mend(self.work, self.place)
            self._lock.remove()
            with suppress(OSError):
                self.work.rmdir()
            _unreleased.remove(self)


_unreleased: set[Claim] = set()


@atexit.register
def _release_all() -> None:
    """Release what a request to stop kept from being released.

    It can come between any two steps of Python's own way out of a context, before `release` is reached.  A forked child
    leaves its parent's claims alone.
    """
    for claim in sorted(_unreleased, key=lambda each: str(each.work)):
        if claim._process == os.getpid():
            with suppress(OSError, KeyboardInterrupt):
                claim.release()


@contextmanager
def claimed(place: Path, reported: Path | None = None) -> Iterator[Claim]:
    """Claim a place, whose parent folder is there, for as long as the context lasts.

    `reported` is the name that a person gave it, for messages.

    Raises
    ------
    OutputError
        If another process has it.
    OSError
        If the hidden folder cannot be made.
    """
    claim = None
    try:
        with held():
            clear_dead(place.parent)
            claim = _claim(place, reported or place)
        yield claim
    finally:
        if claim is not None:
            claim.release()


def clear_dead(folder: Path) -> None:
    """Clear hidden folders that killed runs left behind in a folder, and put back what they had moved away."""
    with suppress(OSError):
        works = [Path(entry.path) for entry in os.scandir(folder) if is_hidden_work(entry.name)]
        for work in works:
            with suppress(OSError, OutputError):
                _clear_if_dead(work)


def is_hidden_work(name: str) -> bool:
    """Whether a file name is one of our hidden folders'."""
    return name.startswith(".") and name.endswith(SUFFIX)


def hidden_work(place: Path) -> Path:
    """The hidden folder of a place; long names are shortened, and told apart by a number."""
    name = f".{place.name}{SUFFIX}"
    if len(os.fsencode(name)) > LONGEST_NAME:
        name = f".{hashlib.sha256(os.fsencode(place.name)).hexdigest()[:16]}{SUFFIX}"
    return place.with_name(name)


def _claim(place: Path, reported: Path) -> Claim:
    work = hidden_work(place)
    begun = time.monotonic()
    while True:
        with suppress(FileExistsError):
            work.mkdir()
        try:
            lock = take_lock(work / LOCK)
        except FileNotFoundError:  # whoever had it took its folder away just now
            continue
        except NoLocks:
            lock = _without_locks(work, reported)
        if lock is not None:
            break
        if time.monotonic() - begun > PATIENCE_S:
            raise OutputError(_busy(work, reported))
        time.sleep(0.02)
    claim = Claim(place, work, lock)
    try:
        _mend(work, place)
        lock.write(_owner(place.name))
    except BaseException:
        claim.release()
        raise
    return claim


def _owner(name: str) -> bytes:
    words = f"bounceplan is at work here and clears this folder; if it was killed, its next run does.\n{os.getpid()}\n"
    return words.encode() + socket.gethostname().encode() + b"\n" + os.fsencode(name)


def _owner_of(work: Path) -> tuple[int, str, str] | None:
    """Process, host and name of the place, as far as they were written."""
    try:
        _, pid, host, name = (work / LOCK).read_bytes().split(b"\n", 3)
        return int(pid), host.decode(), os.fsdecode(name)
    except (OSError, ValueError):
        return None


def _busy(work: Path, reported: Path) -> str:
    owner = _owner_of(work)
    who = f"process {owner[0]} on {owner[1]}" if owner else "another process"
    return f"{reported}: {who} is writing there; wait until it is done, or choose another place with -o."


def _without_locks(work: Path, reported: Path) -> Lock | None:
    """Where the file system has no locks (some network disks) go by the process number that was written down."""
    owner = _owner_of(work)
    if owner is not None and holder_lives(owner[0], owner[1]):
        raise OutputError(
            f"{reported}: process {owner[0]} on {owner[1]} is writing there, as far as can be seen on this disk; wait "
            f"until it is done, or take away the folder {work} if no such process is running."
        )
    return Lock.unheld(work / LOCK)


def _clear_if_dead(work: Path) -> None:
    if work.is_symlink() or not work.is_dir():
        return
    with suppress(OSError):
        work.rmdir()  # one that was only just begun, or is all but gone
        return
    owner = _owner_of(work)
    try:
        lock = take_lock(work / LOCK, make=False)
    except NoLocks:
        if owner is None or holder_lives(owner[0], owner[1]):
            return
        lock = Lock.unheld(work / LOCK)
    if lock is None:
        return
    owner = _owner_of(work)
    if owner is None and (work / OLD).exists():  # nobody says where it belongs, so it stays
        lock.close()
        return
    _mend(work, work.with_name(owner[2]) if owner else None)
    lock.remove()
    with suppress(OSError):
        work.rmdir()


def _mend(work: Path, place: Path | None) -> None:
    """Put back what was moved away and not replaced, and clear the rest."""
    old = work / OLD
    if place is not None and old.exists() and not os.path.lexists(place):
        old.rename(place)
    for _ in range(20):
        for leftover in (each for each in sorted(work.iterdir()) if each.name != LOCK):
            remove(leftover)
        if all(each.name == LOCK for each in work.iterdir()):
            return
        time.sleep(0.05)  # a child of a killed run may still be writing for a moment


def remove(path: Path) -> None:
    """Remove a file or a folder with all that is in it, as far as possible, also where it may only be read."""
    if path.is_symlink() or not path.is_dir():
        with suppress(OSError):
            path.unlink()
        return

    def again(function: Callable[..., Any], name: str, _: Any) -> None:
        with suppress(OSError):
            for each in (Path(name).parent, Path(name)):
                if not each.is_symlink():
                    each.chmod(each.stat().st_mode | stat.S_IRWXU)
            if function in (os.scandir, os.open, os.listdir):
                shutil.rmtree(name, ignore_errors=True)
            else:
                function(name)

    shutil.rmtree(path, onerror=again)


def _exchange(new: Path, place: Path) -> bool:
    """Swap two folders in one step (renameat2 of Linux, glibc 2.28); False where the system or the disk cannot."""
    import ctypes
    import sys

    if not sys.platform.startswith("linux"):
        return False
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    at_working_folder, exchange = -100, 2
    return bool(
        call(at_working_folder, os.fsencode(new), at_working_folder, os.fsencode(place), ctypes.c_uint(exchange)) == 0
    )
