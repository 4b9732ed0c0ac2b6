"""Processes of our own: how they are started, and on how many threads they work."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from threadpoolctl import ThreadpoolController

BEGIN = "import sys; sys.path.insert(0, {place!r}); from {module} import main; sys.exit(main(sys.argv[1:]))"
BEGIN_COMMAND = "import sys; sys.path.insert(0, {place!r}); from sim.__main__ import main; sys.exit(main())"


def own_python(module: str, *arguments: str) -> list[str]:
    """Return the command that runs `main` of a module of this package, with arguments, in a process of its own.

    The package is found where this process found it, and nothing in the folder a person stands in is taken for it or
    for a library: a file there may be called sim.py or numpy.py.
    """
    return [sys.executable, "-P", "-c", BEGIN.format(place=_place(), module=module), *arguments]


def _place() -> str:
    return str(Path(__file__).resolve().parents[2])


def own_command(*arguments: str) -> list[str]:
    """Return what runs one of our commands in a process of its own, which takes signals as a person's does."""
    return [*own_python("sim.__main__")[:3], BEGIN_COMMAND.format(place=_place()), *arguments]


def typed(*parts: object) -> str:
    """Return parts of a command as one types them: what holds a space or another special character is quoted."""
    words = [str(part) for part in parts]
    return subprocess.list2cmdline(words) if os.name == "nt" else shlex.join(words)


# How many threads work at once: as many of ours as there are cores, and none of the linear algebra library's beside.
#
# That library starts a thread for every core whenever two matrices are multiplied.  Called from several of our threads
# these multiply, wait for each other busily, and cost several times the time they save; and the last bits of its sums
# depend on how many there are.  On one thread results are the same to the last bit on every number of cores.

SWITCHES: Final = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""What linear algebra libraries ask the environment for when they are loaded."""

_lock = threading.Lock()
_open = 0
_runs_command = False
_holder: _Holder | None = None


class _Holder(threading.Thread):
    """Holds the limit for the whole process: only the thread that set it can take it back."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.begun, self.end = threading.Event(), threading.Event()

    def run(self) -> None:
        try:
            with _blas().limit(limits=1):
                self.begun.set()
                self.end.wait()
        finally:
            self.begun.set()


def all_cores() -> int:
    """Number of cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def start_with_one_thread() -> None:
    """Have linear algebra libraries of this process and its children start with one thread, if not loaded yet.

    For a process of our own; what the person has set stays.
    """
    for name in SWITCHES:
        os.environ.setdefault(name, "1")


def begin_command() -> None:
    """Note that this process runs one command and then ends, so that it may choose for good how it works."""
    global _runs_command
    _runs_command = True


def runs_command() -> bool:
    """Whether this process runs one command and then ends."""
    return _runs_command


@cache
def _blas() -> ThreadpoolController:
    """The libraries for linear algebra, looked for once: that takes milliseconds, and frames come sixty a second."""
    import scipy.linalg  # noqa: F401  what is loaded later would not be bounded
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController().select(user_api="blas")


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Keep linear algebra on one thread while this is open, in all threads of the process; then as it was before.

    Also a decorator.  It may be opened inside itself, and by several threads at once.
    """
    global _open, _holder
    with _lock:
        if _open == 0:
            _holder = _Holder()
            _holder.start()
            _holder.begun.wait()
        _open += 1
    try:
        with _blas().limit(limits=1):  # of use where this thread has set a limit of its own before
            yield
    finally:
        with _lock:
            _open -= 1
            if _open == 0 and _holder is not None:
                _holder.end.set()
                _holder.join()
