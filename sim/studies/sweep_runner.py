"""Running points of a sweep on all cores of this machine, a few at a time, in whatever order they become ready."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from ..threads import all_cores
from .sweep_plan import SweepTask
from .sweep_points import PointResult, chunks, work_points
from .workers import Workers

CHUNK: Final = 8
"""Points that a worker takes at once: a fifth of a second, which is what a kill may lose on each core."""
WORTH_A_PROCESS: Final = 40
"""With fewer points for each process, starting it (2 s of imports) costs more than it saves."""


def run_points(task: SweepTask, points: Sequence[int], processes: int | None = None) -> Iterator[list[PointResult]]:
    """Work out points and give them back in groups as they become ready; memory does not grow with their number.

    `processes` of this machine share the work; left out, as many as there are cores, or fewer for few points.

    Raises
    ------
    BounceplanError
        If a worker process was ended from outside.
    """
    wanted = processes or min(all_cores(), max(1, len(points) // WORTH_A_PROCESS))
    with Workers(work_points, task, processes=wanted) as workers:
        yield from workers.as_ready(chunks(points, CHUNK))
