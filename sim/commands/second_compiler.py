"""Kernels compiled by two processes at once when none is compiled yet, so that a first run does not wait twice as long.

The compiler works for one thread at a time, but before it compiles a function it looks into the folder of compiled
kernels, whoever put them there.  So on a first run the command starts a second process, which begins with the kernels
the command wants last and goes backwards; the two meet in the middle.  What is compiled, and therefore every result, is
the same; only who compiled it differs.

The second process is quiet, does nothing but compile, and ends when it meets a kernel that is there already, when the
first ends (its standard input is closed then, whatever happened), or at anything unforeseen.  It is left out where it
would not help: kernels compiled already, one processor, no place to keep kernels, a process that is a worker itself, or
`BOUNCEPLAN_SECOND_COMPILER=0` in the environment.
"""

from __future__ import annotations

import atexit
import multiprocessing
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

SWITCH = "BOUNCEPLAN_SECOND_COMPILER"
PATIENCE_S = 2.0
"""How long the second process may take to end with the first before it is stopped."""


def is_cold() -> bool:
    """Whether no kernel is compiled yet, as far as the folder of compiled kernels tells."""
    return not any(Path(os.environ["NUMBA_CACHE_DIR"]).rglob("*.nbi"))


def start(edges: bool = True) -> subprocess.Popen[bytes] | None:
    """Start the second process where it would help, no kernel being compiled yet.

    edges: whether sound round edges will be wanted.  It ends by itself, at the latest with this one.  Returns it, or
    None.
    """
    if not _would_help():
        return None
    package = str(Path(__file__).parents[2])
    paths = os.pathsep.join(path for path in (package, os.environ.get("PYTHONPATH", "")) if path)
    try:
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", __name__, *(["edges"] if edges else [])],
            env={**os.environ, "PYTHONPATH": paths, SWITCH: "0"},
            stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
    except OSError:
        return None
    # somebody must ask for the end of a process that ended, or the system keeps its number until we end
    threading.Thread(target=process.wait, daemon=True).start()
    atexit.register(end, process)
    return process


def end(process: subprocess.Popen[bytes]) -> None:
    """Have the second process end, and wait until it has."""
    if process.stdin is not None:
        process.stdin.close()
    try:
        process.wait(PATIENCE_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _would_help() -> bool:
    folder = Path(os.environ["NUMBA_CACHE_DIR"])
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return False
    return (
        os.environ.get(SWITCH, "1") != "0" and (os.cpu_count() or 1) > 1 and os.access(folder, os.W_OK)
        and multiprocessing.parent_process() is None
    )  # fmt: skip


def kernels_from_the_last(edges: bool) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    """Kernels and the types they are called with, those that a command wants last first.

    edges: with those for sound round edges.  `decay` wants none, and its tracer is compiled by the first process, being
    wanted before paths are.  A type that no longer is what the kernel is called with only wastes the second process's
    time; a test holds them.
    """
    from numba import types
    from numba.types import boolean, complex128, float32, float64, int64, uint8

    def fresh(kind: Any, *axes: int) -> tuple[Any, ...]:
        return tuple(types.Array(kind, count, "C") for count in axes)

    def frozen(kind: Any, *axes: int) -> tuple[Any, ...]:
        return tuple(types.Array(kind, count, "C", readonly=True) for count in axes)

    facets = types.Tuple(
        (
            *frozen(float64, 2, 1, 3), *frozen(int64, 1), *frozen(float64, 2), *frozen(int64, 1),
            *frozen(float64, 2), *frozen(int64, 1, 1),
        )
    )  # fmt: skip
    tree = types.Tuple((*frozen(float64, 1), *frozen(float32, 3), *frozen(float64, 3)))
    rays = types.Tuple((tree, *frozen(float64, 3), *frozen(int64, 1, 1)))
    edges_of = types.Tuple((*fresh(float64, 3), *fresh(int64, 2, 1)))
    ends, drives = fresh(float64, 1, 1), fresh(complex128, 1, 2, 3)
    wedges = types.Tuple(fresh(float64, 2, 2, 2, 2, 1, 1))
    wedge = types.Tuple((*fresh(float64, 1, 1, 1, 1), float64, float64))
    looks = types.Tuple((*fresh(float64, 2), *fresh(int64, 1), *fresh(float64, 2), *fresh(int64, 1), int64))
    beams = types.Tuple((*fresh(float64, 2), *fresh(int64, 1, 1, 1), *fresh(float64, 2), *fresh(int64, 2)))

    if edges:
        from ..propagation.chain_kernels import chained_pressure
        from ..propagation.edge_kernels import edge_parts, edge_pressure
        from ..propagation.kernels import mirror_samples, path_margins, survey
        from ..propagation.sight_kernels import clear_stretches

        hops, fades, wavenumbers = fresh(int64, 2), fresh(float64, 2), fresh(float64, 1)
        stretch = (*ends, wedge, float64, float64, *wavenumbers, drives[1])
        yield chained_pressure, (*ends, wedges, *hops, *fades, drives[2], *wavenumbers, boolean)
        yield edge_pressure, stretch
        yield edge_parts, stretch
        yield mirror_samples, (*fresh(float64, 2, 2), int64, int64, facets, rays)
        yield clear_stretches, (*ends, *fresh(float64, 2), *fresh(int64, 1), int64, looks, facets, rays)
        yield survey, (*ends, int64, facets, rays, edges_of)
        yield path_margins, (*ends, *fresh(int64, 2), *fresh(float64, 3), int64, facets, edges_of)

    from ..propagation.beam_kernels import grow_beams
    from ..propagation.path_kernels import find_paths

    yield find_paths, (beams, beams, int64, *frozen(int64, 1), *frozen(uint8, 2), int64, facets, rays)
    sheets = (*frozen(uint8, 1, 2), *frozen(float64, 2, 3))
    yield grow_beams, (*fresh(float64, 1), int64, *sheets, float64)


def compile_from_the_last(edges: bool) -> int:
    """Compile until a kernel is there already; return how many were compiled."""
    compiled = 0
    for kernel, kinds in kernels_from_the_last(edges):
        kernel.compile(kinds)
        if kernel.stats.cache_hits:
            break
        compiled += 1
    return compiled


def _end_with_the_first() -> None:
    """Wait until the process that started this one closes our standard input, or ends; then end at once."""
    os.read(sys.stdin.fileno(), 1)
    os._exit(0)


if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(10)  # where others work on all processors the first process goes before
    threading.Thread(target=_end_with_the_first, daemon=True).start()
    compile_from_the_last("edges" in sys.argv[1:])
