"""Compiled kernels on the disk: one file a kernel and set of types, checked before it is looked into.

Takes the place of the compiler's own cache, which runs into a traceback where a file is damaged or its folder cannot be
written, and looks for other folders where it does not get the one it was told.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

import numba as nb
from numba.core.caching import CompileResultCacheImpl, FunctionCache, UserProvidedCacheLocator, dumps
from numba.core.dispatcher import Dispatcher

from sim.machine.kernel_folder import kernel_folder

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
