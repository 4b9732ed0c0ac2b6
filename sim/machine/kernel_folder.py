"""Where compiled kernels are kept: a folder of the person's own, named after all that compiled code depends on.

What lies in the folder is run, so nobody else may have been able to put anything there: it belongs to us (or to root)
and nobody else may write to it.  Where no such folder can be had, kernels are kept for this process and its children
alone, in a new private folder that goes when the process ends.
"""

from __future__ import annotations

import atexit
import hashlib
import os
import re
import shutil
import stat
import sys
import tempfile
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

SHARED: Final = "BOUNCEPLAN_KERNELS"
"""In the environment of child processes: the private folder of the process that started them."""
KEPT_DAYS, KEPT_FOLDERS = 30.0, 12
"""Folders of other versions go when nobody used them for so long, or when there are more."""
_OURS: Final = re.compile(r"kernels-[0-9a-f]{12,64}\Z")
_COMPILES: Final = (b"numba", b"kinds_of_kernels")
"""A source file with one of these words may hold compiled code."""


@dataclass(frozen=True, slots=True)
class KernelFolder:
    """A folder of compiled kernels.

    Attributes
    ----------
    path
        The folder.
    trouble
        Why kernels are compiled anew each time, as one sentence; empty when they are kept.
    """

    path: Path
    trouble: str = ""


@cache
def kernel_folder() -> KernelFolder:
    """Return the folder for compiled kernels of this process, made if need be."""
    shared = os.environ.get(SHARED)
    if shared and _distrust(Path(shared)) == "":
        return KernelFolder(Path(shared))
    name = f"kernels-{fingerprint()}"
    try:
        home = cache_home(os.environ, sys.platform)
        path = home / name
        new = not path.is_symlink() and not path.exists()
        if new:
            path.mkdir(mode=0o700, parents=True)
            _prune(home, name)
        why = _distrust(path)
    except (OSError, RuntimeError) as fault:  # RuntimeError: no home directory is known
        why = f"cannot be made ({getattr(fault, 'strerror', None) or fault})"
        home = home if isinstance(fault, OSError) else Path("~")
    if not why:
        with suppress(OSError):  # a folder that can only be read is as good
            os.utime(path)
        return KernelFolder(path)
    try:
        private = Path(tempfile.mkdtemp(prefix="bounceplan-kernels-"))
        os.environ[SHARED] = str(private)
        atexit.register(_remove, private, os.getpid())
    except OSError:
        private = Path(os.devnull) / "kernels"  # nothing can be read from there, nothing kept
    return KernelFolder(
        private,
        f"compiled kernels cannot be kept, so each run compiles them anew: {home / name} {why}; set XDG_CACHE_HOME to "
        "a folder of your own.",
    )


def cache_home(environment: Mapping[str, str], platform: str) -> Path:
    """Folder for what can be made again: $XDG_CACHE_HOME, or the place the system has for it.

    A relative $XDG_CACHE_HOME is ignored, as the XDG Base Directory Specification asks.
    """
    chosen = environment.get("XDG_CACHE_HOME", "")
    if chosen and Path(chosen).is_absolute():
        return Path(chosen) / "bounceplan"
    if platform == "win32":
        local = environment.get("LOCALAPPDATA", "")
        return (Path(local) if local else Path.home() / "AppData" / "Local") / "bounceplan" / "cache"
    if platform == "darwin":
        return Path.home() / "Library" / "Caches" / "bounceplan"
    return Path.home() / ".cache" / "bounceplan"


@cache
def fingerprint() -> str:
    """Hex digits that differ when compiled code may: sources, the compiler, Python or the processor.

    The compiler's own cache looks only at the file a function stands in; an edited kernel in another file would leave
    its callers stale.
    """
    import llvmlite
    import llvmlite.binding
    import numba
    import numpy as np

    digest = hashlib.sha256()
    package = Path(str(sys.modules[__name__.partition(".")[0]].__file__)).parent
    for source in sorted(package.rglob("*.py")):
        text = source.read_bytes()
        if any(word in text for word in _COMPILES):
            digest.update(f"{source.relative_to(package).as_posix()} {len(text)}\n".encode())
            digest.update(text)
    processor = llvmlite.binding.get_host_cpu_name()
    versions = (numba.__version__, llvmlite.__version__, np.__version__, sys.version, processor)
    digest.update("\n".join(versions).encode())
    return digest.hexdigest()[:16]


def _distrust(folder: Path) -> str:
    """Why a folder is not to be trusted, as the end of a sentence; empty when it is.

    One of ours that others may look into is shut; one that others may write to may hold anything by now.
    """
    try:
        found = folder.lstat()
    except OSError as fault:
        return f"cannot be read ({fault.strerror})"
    us = os.geteuid() if hasattr(os, "geteuid") else None
    why = why_distrusted(found.st_mode, found.st_uid, us)
    if why:
        return why
    if us is not None and found.st_uid == us and found.st_mode & 0o077:
        with suppress(OSError):
            folder.chmod(0o700)
    if not os.access(folder, os.R_OK | os.X_OK):
        return "cannot be read"
    empty_and_shut = not os.access(folder, os.W_OK) and not any(folder.iterdir())
    return "cannot be written and is empty" if empty_and_shut else ""


def why_distrusted(mode: int, owner: int, us: int | None) -> str:
    """Why others may have put something into what has this mode and owner, as the end of a sentence; or nothing.

    us: number of this process's user; None where the system has no such numbers, and a profile is its person's alone.
    """
    if not stat.S_ISDIR(mode):
        return "is no folder (or a link to one)"
    if us is None:
        return ""
    if owner not in (us, 0):
        return "belongs to somebody else"
    return "can be written by others" if mode & 0o022 else ""


def _prune(home: Path, current: str) -> None:
    """Take away kernels of other versions that nobody used for a month, and the oldest of very many."""
    old = [each for each in home.iterdir() if _OURS.match(each.name) and each.name != current and not each.is_symlink()]
    used = []
    for folder in old:
        with suppress(OSError):
            used.append((folder.stat().st_mtime, folder))
    used.sort(reverse=True)
    limit = time.time() - KEPT_DAYS * 86_400.0
    for number, (when, folder) in enumerate(used):
        if when < limit or number >= KEPT_FOLDERS:
            shutil.rmtree(folder, ignore_errors=True)


def _remove(folder: Path, process: int) -> None:
    """Remove a private folder, in the process that made it."""
    if os.getpid() == process:
        shutil.rmtree(folder, ignore_errors=True)
