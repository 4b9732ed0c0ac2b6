"""Layouts shared out over the cores of this machine: the same numbers for any number of processes."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from multiprocessing.connection import wait as wait_for_end
from types import TracebackType
from typing import Any, Final, Generic, Self, TypeVar

from sim.errors import BounceplanError, SceneError
from sim.layouts.figures import LayoutFigures, layout_figures
from sim.layouts.plan import SweepTask
from sim.machine.processes import all_cores, one_blas_thread

CHUNK: Final = 8
"""Pieces of work that a process takes at once."""
WORTH_A_PROCESS: Final = 60
"""With fewer pieces for each process, starting it (2 s of imports) costs more than it saves."""
CANNOT_SHARE: Final = "several processes cannot work together on this machine, so one does it all"

Task = TypeVar("Task")
Piece = TypeVar("Piece")
Answer = TypeVar("Answer")

_NO_MORE: Any = object()
_kept: list[tuple[Callable[[Any, Any], Any], Any]] = []
_for_good = ExitStack()


class Workers(Generic[Task, Piece, Answer]):
    """A context in which many pieces of one task are worked out; `work` is a function of a module.

    `processes` left out, all cores are used if `expected` pieces are worth it.  Several processes start afresh from the
    main module.  Where this machine lets processes share nothing (no /dev/shm, as in some containers) all is worked out
    in this one, to the same numbers, and `say` is told so.
    """

    def __init__(
        self,
        work: Callable[[Task, Piece], Answer],
        task: Task,
        *,
        processes: int | None = None,
        expected: int = 0,
        say: Callable[[str], None] = lambda _: None,
    ) -> None:
        self._work, self._task, self._say = work, task, say
        self._processes = processes or min(all_cores(), max(1, expected // WORTH_A_PROCESS))
        self._pool: ProcessPoolExecutor | None = None
        self._opened = ExitStack()

    def __enter__(self) -> Self:
        self._opened.enter_context(one_blas_thread())
        if self._processes > 1:
            context = multiprocessing.get_context("spawn")
            try:
                self._pool = ProcessPoolExecutor(
                    self._processes, context, initializer=_begin, initargs=(self._work, self._task)
                )
            except (OSError, ImportError, NotImplementedError) as fault:  # what locks between processes need is missing
                self._say(f"{CANNOT_SHARE} ({fault})")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
        self._opened.close()

    def as_ready(self, pieces: Iterable[Piece]) -> Iterator[Answer]:
        """Give answers in whatever order they become ready; few pieces are taken ahead of them.

        Raises
        ------
        BounceplanError
            If a process was ended from outside.
        """
        if self._pool is None:
            yield from (self._work(self._task, piece) for piece in pieces)
            return
        rest, waiting = iter(pieces), set[Future[Answer]]()
        with _reported("what is finished is safe: "):
            while True:
                while len(waiting) < 2 * self._processes and (taken := next(rest, _NO_MORE)) is not _NO_MORE:
                    waiting.add(self._pool.submit(_worked, taken))
                if not waiting:
                    return
                ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                for future in ready:
                    yield future.result()

    def answers(self, pieces: Sequence[Piece]) -> Iterator[Answer]:
        """Give the answer to each piece, in order, as soon as it and all before it are known.

        Raises
        ------
        BounceplanError
            If a process was ended from outside.
        """
        if self._pool is None:
            yield from (self._work(self._task, piece) for piece in pieces)
            return
        fraction = max(1, min(CHUNK, len(pieces) // (2 * self._processes)))
        with _reported(""):
            yield from self._pool.map(_worked, pieces, chunksize=fraction)


@contextmanager
def _reported(safe: str) -> Iterator[None]:
    """Turn the death of a process into one sentence."""
    try:
        yield
    except BrokenProcessPool:
        raise BounceplanError(
            f"a worker process was ended from outside, perhaps for want of memory; {safe}give the same command again, "
            "with fewer --processes."
        ) from None


def _begin(work: Callable[[Any, Any], Any], task: Any) -> None:
    """Keep the task in a new process, and let that process end when the one that started it has ended.

    A worker waits for work on a pipe that its sisters hold open too, and would never learn of a killed parent.
    """
    _kept[:] = [(work, task)]
    _for_good.enter_context(one_blas_thread())
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent is told, and ends its workers
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)


def _worked(piece: Any) -> Any:
    work, task = _kept[0]
    return work(task, piece)


# Working out points of a sweep, here or in any other process: the same numbers everywhere.


@dataclass(frozen=True, slots=True)
class PointResult:
    """What became of one point: its figures, or the reason why there are none."""

    point: int
    reason: str
    figures: LayoutFigures | None


def work_point(task: SweepTask, point: int) -> PointResult:
    """Work out one layout; one that cannot be gives its reason."""
    plan = task.plan
    try:
        built = task.stage_at(plan.values(point))
    except SceneError as fault:
        return PointResult(point, str(fault), None)
    return PointResult(point, "", layout_figures(built, plan.target, plan.bands, plan.surfaces))


@one_blas_thread()
def work_points(task: SweepTask, points: Sequence[int]) -> list[PointResult]:
    """Work out several layouts, one after the other."""
    return [work_point(task, point) for point in points]


def chunks(points: Iterable[int], size: int) -> Iterator[tuple[int, ...]]:
    """Cut points into groups of `size`, in order."""
    group: list[int] = []
    for point in points:
        group.append(point)
        if len(group) == size:
            yield tuple(group)
            group = []
    if group:
        yield tuple(group)


# Running points of a sweep on all cores of this machine, a few at a time, in whatever order they become ready.

POINTS_WORTH_A_PROCESS: Final = 40
"""With fewer points for each process, starting it (2 s of imports) costs more than it saves."""


def run_points(
    task: SweepTask, points: Sequence[int], processes: int | None = None, say: Callable[[str], None] = lambda _: None
) -> Iterator[list[PointResult]]:
    """Work out points and give them back in groups as they become ready; memory does not grow with their number.

    `processes` of this machine share the work; left out, as many as there are cores, or fewer for few points;
    `say` as in `Workers`.

    Raises
    ------
    BounceplanError
        If a worker process was ended from outside.
    """
    wanted = processes or min(all_cores(), max(1, len(points) // POINTS_WORTH_A_PROCESS))
    with Workers(work_points, task, processes=wanted, say=say) as workers:
        yield from workers.as_ready(chunks(points, CHUNK))
