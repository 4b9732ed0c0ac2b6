"""Compiled kernels on the disk: the folder of a person's own, and one file a kernel and set of types.

What lies in the folder is run, so nobody else may have been able to put anything there: it belongs to us (or to root)
and nobody else may write to it.  Where no such folder can be had, kernels are kept for this process and its children
alone, in a new private folder that goes when the process ends.
"""

from __future__ import annotations

import atexit
import hashlib
import os
import pickle
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

import numba as nb
from numba.core.caching import CompileResultCacheImpl, FunctionCache, UserProvidedCacheLocator, dumps
from numba.core.dispatcher import Dispatcher

from sim.machine.cache_home import cache_home, why_distrusted

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


# Compiled kernels on the disk: one file a kernel and set of types, checked before it is looked into.
#
# Takes the place of the compiler's own cache, which runs into a traceback where a file is damaged or its folder cannot
# be written, and looks for other folders where it does not get the one it was told.

MAGIC: Final = b"bounceplan kernel 1\n"
_HEAD: Final = len(MAGIC) + 32
_touched: set[str] = set()


def files_touched() -> frozenset[str]:
    """Names of the files that this process read kernels from, or wrote them to."""
    return frozenset(_touched)


def is_whole(path: Path) -> bool:
    """Whether a file of compiled code is there and undamaged."""
    return _payload(path) is not None


def kept(**options: Any) -> Callable[[Callable[..., Any]], Any]:
    """Compile a function when it is first called, as `numba.njit` with these options, and keep what was compiled."""

    def decorate(function: Callable[..., Any]) -> Any:
        compiled: Any = nb.njit(**options)(function)
        is_compiled = isinstance(compiled, Dispatcher)  # not where the compiler is switched off
        if is_compiled:
            compiled._cache = _Cache(function)
        return compiled

    return decorate


class _Locator(UserProvidedCacheLocator):  # type: ignore[misc]
    """The one folder of kernels, whether it can be written or not."""

    def __init__(self, function: Callable[..., Any], source: str) -> None:
        self._py_file = source
        self._lineno = function.__code__.co_firstlineno
        self._cache_path = str(kernel_folder().path)

    @classmethod
    def from_function(cls, function: Callable[..., Any], source: str) -> _Locator:
        return cls(function, source)

    def ensure_cache_path(self) -> None:
        """Nothing to do: the folder was made when it was chosen."""


class _Found(CompileResultCacheImpl):  # type: ignore[misc]
    _locator_classes = (_Locator,)


class _Files:
    """Files of one function; what goes wrong with them is as if they were not there."""

    def __init__(self, folder: str, stem: str) -> None:
        self.folder, self.stem = Path(folder), stem

    def path(self, key: Any) -> Path:
        return self.folder / f"{self.stem}-{hashlib.sha256(repr(key).encode()).hexdigest()[:16]}.kernel"

    def load(self, key: Any) -> Any:
        path = self.path(key)
        payload = _payload(path)
        if payload is None:
            return None
        with suppress(Exception):  # whatever a foreign pickle raises
            loaded = pickle.loads(payload)
            _touched.add(path.name)
            return loaded
        return None

    def save(self, key: Any, data: Any) -> None:
        payload = dumps(data)
        path = self.path(key)
        with suppress(OSError):  # full or shut: this process has what it compiled all the same
            handle, part = tempfile.mkstemp(prefix=".", suffix=".part", dir=self.folder)
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(MAGIC + hashlib.sha256(payload).digest() + payload)
                Path(part).replace(path)
            except BaseException:
                Path(part).unlink(missing_ok=True)
                raise
            _touched.add(path.name)

    def flush(self) -> None:
        for path in self.folder.glob(f"{self.stem}-*.kernel"):
            path.unlink()


class _Cache(FunctionCache):  # type: ignore[misc]
    _impl_class = _Found

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)
        stem = f"{function.__module__}.{function.__qualname__}-{function.__code__.co_firstlineno}"
        plain = "".join(letter if letter.isalnum() or letter in "._-" else "_" for letter in stem)
        self._cache_file = _Files(self._cache_path, plain)

    def load_overload(self, signature: Any, target: Any) -> Any:
        """As the compiler's own; code that cannot be taken up is compiled anew."""
        try:
            return super().load_overload(signature, target)
        except Exception:
            return None


def _payload(path: Path) -> bytes | None:
    """What stands in a file behind its checksum, or None if it is not whole."""
    try:
        text = path.read_bytes()
    except OSError:
        return None
    if text[: len(MAGIC)] != MAGIC or hashlib.sha256(text[_HEAD:]).digest() != text[len(MAGIC) : _HEAD]:
        return None
    return text[_HEAD:]
