"""Working out points of a sweep, here or in any other process: the same numbers everywhere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from ..errors import SceneError
from ..threads import one_blas_thread
from .figures import LayoutFigures, layout_figures
from .sweep_plan import SweepTask


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
        stage = task.stage_at(plan.values(point))
    except SceneError as fault:
        return PointResult(point, str(fault), None)
    return PointResult(point, "", layout_figures(stage, plan.target, plan.bands, plan.surfaces))


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
