"""Running points of a sweep on all cores of this machine, a few at a time, in whatever order they become ready."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import wait as wait_for_end
from typing import Final

from ..errors import BounceplanError
from .sweep_plan import SweepTask
from .sweep_points import PointResult, chunks, work_points

CHUNK: Final = 8
"""Points that a worker takes at once: a fifth of a second, which is what a kill may lose on each core."""
WORTH_A_PROCESS: Final = 40
"""With fewer points for each process, starting it (2 s of imports) costs more than it saves."""

_task: SweepTask | None = None


def all_cores() -> int:
    """Number of cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def run_points(task: SweepTask, points: Sequence[int], processes: int | None = None) -> Iterator[list[PointResult]]:
    """Work out points and give them back in groups as they become ready; memory does not grow with their number.

    `processes` of this machine share the work; left out, as many as there are cores, or fewer for few points.

    Raises
    ------
    BounceplanError
        If a worker process was ended from outside.
    """
    wanted = processes or min(all_cores(), max(1, len(points) // WORTH_A_PROCESS))
    if wanted == 1:
        for group in chunks(points, CHUNK):
            yield work_points(task, group)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(wanted, context, initializer=_begin, initargs=(task,)) as pool:
        groups = chunks(points, CHUNK)
        waiting: set[Future[list[PointResult]]] = set()
        try:
            while True:
                while len(waiting) < 2 * wanted and (taken := next(groups, None)) is not None:
                    waiting.add(pool.submit(_work, taken))
                if not waiting:
                    return
                ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                for future in ready:
                    yield future.result()
        except BrokenProcessPool:
            raise BounceplanError(
                "a worker process was ended from outside, perhaps for want of memory; what is finished is safe: give "
                "the same command again, with fewer --processes."
            ) from None
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _begin(task: SweepTask) -> None:
    """Keep the task in a new worker, and let the worker end when the process that started it has ended.

    A worker waits for work on a pipe that its sisters hold open too, and would never learn of a killed parent.
    """
    global _task
    _task = task
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent is told, and ends its workers
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)


def _work(points: Sequence[int]) -> list[PointResult]:
    assert _task is not None
    return work_points(_task, points)
