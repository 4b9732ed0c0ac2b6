"""How far each number of a good layout may move, and what holds the layout back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.answers import printable
from sim.arrays import FloatArray
from sim.layouts.figures import LayoutFigures
from sim.layouts.plan import SweepTask
from sim.layouts.records import EQUAL_DB
from sim.studies.search.trials import Trial, Trials

STEPS: Final = 16
HALVINGS: Final = 4


@printable
@dataclass(frozen=True, slots=True)
class Range:
    """How far one number may move, all others staying.

    Attributes
    ----------
    low, high
        Ends, in metres, degrees or as it is.
    low_why, high_why
        What happens beyond: "end" of the range asked for, "worse" by more than 0.5 dB, "limit" for one that would be
        broken, "impossible".
    """

    low: float
    high: float
    low_why: str
    high_why: str


@printable
@dataclass(frozen=True, slots=True)
class Offender:
    """The strongest reflection of one loudspeaker inside the target's window.

    Attributes
    ----------
    loudspeaker, surface
        Whose it is, and where it strikes.
    level_db, delay_ms
        Level re direct sound, and delay after it.
    """

    loudspeaker: str
    surface: str
    level_db: float
    delay_ms: float


def ranges_of(trials: Trials, layouts: Sequence[Trial]) -> list[tuple[Range, ...]]:
    """For each layout and field, how far it may move within 0.5 dB; all layouts are worked on side by side."""
    n = len(trials.low)
    sides = [(layout, field, way) for layout in layouts for field in range(n) for way in (-1, 1)]
    inner = [trials.fraction(np.array(layout.values)) for layout, _, _ in sides]
    outer: list[FloatArray | None] = [None] * len(sides)
    beyond: list[Trial | None] = [None] * len(sides)
    grids = []
    for (_, field, way), here in zip(sides, inner, strict=True):
        steps = here[field] + way * np.arange(1, STEPS + 1) / STEPS
        last = np.abs(steps - 0.5) < 0.5 + 0.99 / STEPS  # the first step beyond an end stands for the end
        grids.append([_moved(here, field, float(step)) for step in np.clip(steps[last], 0.0, 1.0)])
    answers = iter(trials.tried([fractions for grid in grids for fractions in grid]))
    for side, ((layout, _, _), grid) in enumerate(zip(sides, grids, strict=True)):
        for fractions in grid:
            trial = next(answers)
            if outer[side] is None and _as_good(trial, layout):
                inner[side] = fractions
            elif outer[side] is None:
                outer[side], beyond[side] = fractions, trial
    for _ in range(HALVINGS):
        open_sides = [side for side, fractions in enumerate(outer) if fractions is not None]
        middles = [0.5 * (inner[side] + np.asarray(outer[side])) for side in open_sides]
        for side, fractions, trial in zip(open_sides, middles, trials.tried(middles), strict=True):
            if _as_good(trial, sides[side][0]):
                inner[side] = fractions
            else:
                outer[side], beyond[side] = fractions, trial
    ends = [
        (trials.settings(fractions)[field], _why(trial))
        for (_, field, _), fractions, trial in zip(sides, inner, beyond, strict=True)
    ]
    pairs = zip(ends[::2], ends[1::2], strict=True)
    ranges = [Range(low, high, low_why, high_why) for (low, low_why), (high, high_why) in pairs]
    return [tuple(ranges[n * number : n * (number + 1)]) for number in range(len(layouts))]


def offenders(task: SweepTask, figures: LayoutFigures) -> tuple[Offender, ...]:
    """The strongest reflection of each loudspeaker inside the target's window; none for one that has none."""
    plan = task.plan
    low, high = plan.target.window_ms
    found = []
    for s, name in enumerate(plan.loudspeakers):
        inside = (figures.delay_ms[s] >= low) & (figures.delay_ms[s] <= high)
        levels = np.where(inside, figures.worst_db[s], -np.inf)
        f = int(np.argmax(levels)) if levels.size else 0
        if levels.size and levels[f] > SILENCE_DB:
            found.append(Offender(name, plan.surfaces[f], float(levels[f]), float(figures.delay_ms[s, f])))
    return tuple(found)


def _moved(fractions: FloatArray, field: int, fraction: float) -> FloatArray:
    moved = fractions.copy()
    moved[field] = fraction
    return moved


def _as_good(trial: Trial, layout: Trial) -> bool:
    return trial.allowed and trial.merit_db <= layout.merit_db + EQUAL_DB


def _why(beyond: Trial | None) -> str:
    if beyond is None:
        return "end"
    return "impossible" if beyond.reason else "limit" if beyond.broken else "worse"
