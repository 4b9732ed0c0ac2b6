"""Small scenes for sweeps, and sweeps of them kept in memory."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from pathlib import Path

import numpy as np

from sim.blueprint.reader import SceneFile, parse_scene, read_scene
from sim.layouts.figures import LayoutFigures
from sim.layouts.plan import SweepTask, plan_sweep
from sim.layouts.records import DONE, IMPOSSIBLE, Sweep
from sim.layouts.values import Values
from sim.layouts.workers import PointResult, work_points
from tests.room_texts import desk_text, room_text

SCENES = Path(__file__).resolve().parents[3] / "scenes"
STANDS = SCENES / "bedroom-on-stands"
BRIDGE = SCENES / "control-room-bridge"
# Two points over a table: quick to work out.
TABLE = room_text(
    (3.0, 4.0, 2.5),
    (2.0, 1.5, 1.2),
    {"left": (1.0, 1.0, 1.1), "right": (1.0, 2.0, 1.1)},
    head='title = "A table"',
    more=desk_text((0.9, 1.8), (0.5, 2.5), 0.7),
)


def table() -> SceneFile:
    return parse_scene(TABLE, Path("nowhere"))


def planned(scene: SceneFile | Path, vary: Mapping[str, Values], **more: bool) -> SweepTask:
    return plan_sweep(read_scene(scene) if isinstance(scene, Path) else scene, vary, **more)


def swept(task: SweepTask, points: Iterable[int] | None = None) -> Sweep:
    """The plain way: one layout after the other, all figures in memory."""
    return gathered(task, work_points(task, tuple(range(task.plan.points)) if points is None else tuple(points)))


def gathered(task: SweepTask, results: Iterable[PointResult]) -> Sweep:
    plan = task.plan
    arrays = {name: np.full((plan.points, *shape), np.nan) for name, shape in plan.figure_shapes().items()}
    state, reasons = np.zeros(plan.points, dtype=np.int64), {}
    for one in results:
        assert state[one.point] == 0
        state[one.point] = DONE if one.figures is not None else IMPOSSIBLE
        if one.figures is None:
            reasons[one.point] = one.reason
            continue
        for name in arrays:
            arrays[name][one.point] = getattr(one.figures, name)
    return Sweep(plan, state, reasons, LayoutFigures(**arrays))


def same_to_the_bit(one: Sweep, other: Sweep) -> bool:
    return (
        one.state.tobytes() == other.state.tobytes()
        and dict(one.reasons) == dict(other.reasons)
        and all(
            np.asarray(getattr(one.figures, each.name)).tobytes()
            == np.asarray(getattr(other.figures, each.name)).tobytes()
            for each in fields(LayoutFigures)
        )
    )
