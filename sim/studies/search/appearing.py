"""Reflections that appear next to a layout: nearer than it can be set up.

A search likes the last setting without a reflection, which is the very edge of its appearing.  So a layout moves away
from such an edge by what it cannot be set to, where that costs nothing, and else says what lies beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.answers import printable
from sim.arrays import BoolArray
from sim.layouts.figures import LayoutFigures
from sim.layouts.plan import SweepTask
from sim.layouts.records import EQUAL_DB
from sim.studies.search.trials import Trial, Trials

SET_DEG: Final = 1.0
"""Angles are set within a degree (common practice, no source); lengths within the scene's placement_error."""


@printable
@dataclass(frozen=True, slots=True)
class Appearing:
    """A reflection above the target's level that a layout has not, but would have a little further.

    Attributes
    ----------
    axis, value
        Number of the axis, and the setting on it, in metres or degrees, at which the reflection is there.
    loudspeaker, surface, level_db
        Whose it is, where it strikes, and its level there re direct, highest octave of the target.
    """

    axis: int
    value: float
    loudspeaker: str
    surface: str
    level_db: float


def set_within(task: SweepTask, axis: int) -> float:
    """How exactly the number of an axis can be set, in metres or degrees; 0 for a plain number."""
    return {"length": task.blueprint.method.placement_error, "degrees": SET_DEG}.get(task.fields[axis].kind, 0.0)


def appearing(trials: Trials, task: SweepTask, layout: Trial) -> tuple[Appearing, ...]:
    """What appears within what each number can be set to, the loudest first."""
    assert layout.figures is not None
    here = _reaches(layout.figures)
    found: list[Appearing] = []
    for axis in range(len(trials.low)):
        for sign in (-1.0, 1.0):
            there = _moved(trials, task, layout, {axis: sign})
            if there.figures is None or there.values == layout.values:
                continue
            loud = there.figures.worst_db > task.plan.target.level_db
            for s, f in np.argwhere(_reaches(there.figures) & ~here & loud):
                level_db = float(there.figures.worst_db[s, f])
                name, surface = task.plan.loudspeakers[s], task.plan.surfaces[f]
                found.append(Appearing(axis, there.values[axis], name, surface, level_db))
    return tuple(sorted(found, key=lambda one: -one.level_db))


def off_the_edge(trials: Trials, task: SweepTask, layout: Trial) -> Trial:
    """The layout moved away from what appears beside it, if it is then as good; else the layout itself."""
    beside = appearing(trials, task, layout)
    away: dict[int, float] = {}
    for one in beside:
        away.setdefault(one.axis, float(np.sign(layout.values[one.axis] - one.value)))
    if not away:
        return layout
    moved = _moved(trials, task, layout, away)
    as_good = moved.allowed and moved.merit_db <= layout.merit_db + EQUAL_DB
    return moved if as_good and len(appearing(trials, task, moved)) < len(beside) else layout


def _reaches(figures: LayoutFigures) -> BoolArray:
    """Whether any driver of a loudspeaker has its reflection point on a surface and is seen there."""
    return np.asarray(((figures.clear_m > 0.0) & (figures.hidden == 0.0)).any(axis=1))


def _moved(trials: Trials, task: SweepTask, layout: Trial, signs: dict[int, float]) -> Trial:
    values = np.array(layout.values)
    for axis, sign in signs.items():
        values[axis] += sign * set_within(task, axis)
    (trial,) = trials.tried([np.clip(trials.fraction(values), 0.0, 1.0)])
    return trial
