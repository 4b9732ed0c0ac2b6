"""Layouts that a search tries, and how far each number of a good one may move.

Merit in dB, the smaller the better, from first reflections inside the target's window:

    merit = mean over loudspeakers of (strongest reflection + early energy)/2 + |difference of early energy|/2
            + what tone adds to the measure (`sim.responses.measure`)

It only leads the search, in which thousands of layouts are tried; what was found is traced and judged by the measure.

Strongest reflection: the highest octave of the target's band, re direct.  Early energy: all reflections added, mean of
the target's octaves.  Difference: between the loudspeaker with most and that with least early energy.  All three are
levels of the same kind, so that 1 dB of merit is 1 dB of sound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.answers import printable
from sim.arrays import FloatArray
from sim.errors import SceneError
from sim.layouts.figures import LayoutFigures, layout_figures
from sim.layouts.plan import SweepTask
from sim.layouts.records import EQUAL_DB
from sim.layouts.workers import Workers
from sim.placement.limits import Limit, limits_of
from sim.responses.tone import tone_cost_db

FLOOR_DB: Final = -40.0
"""Reflections below this count as being there: nobody hears what is taken from them (common practice, no source)."""
FINE: Final = {"length": 1.0e-3, "degrees": 0.1}
"""Settings are whole millimetres and tenths of a degree, as fine as anyone sets them."""
BROKEN: Final = 1.0e3
IMPOSSIBLE: Final = 1.0e6
"""Any layout that keeps all limits comes before any that breaks one, and these before impossible ones; among each kind
the nearer to being allowed is the better.  These are ranks, not levels."""

Values = tuple[float, ...]


@printable
@dataclass(frozen=True, slots=True)
class Trial:
    """One layout that was tried.

    Attributes
    ----------
    values
        Of all axes, in metres, degrees or as they are.
    merit_db
        nan where the layout is impossible.
    limits
        Those that it breaks or only just keeps.
    reason
        Why it is impossible, or an empty text.
    figures
        None where it is impossible.
    """

    values: Values
    merit_db: float
    limits: tuple[Limit, ...]
    reason: str
    figures: LayoutFigures | None

    @property
    def broken(self) -> float:
        """Sum over the limits of by how much they are broken."""
        return sum(limit.broken for limit in self.limits)

    @property
    def allowed(self) -> bool:
        """Whether it is possible and keeps all limits."""
        return not self.reason and self.broken == 0.0


def merit_of(figures: LayoutFigures, level_db: float) -> float:
    """Merit in dB of one layout; `level_db` is the target's level."""
    strongest = np.maximum(figures.over_target_db + level_db, FLOOR_DB)
    early = np.maximum(figures.early_db, FLOOR_DB)
    return float(np.mean(0.5 * (strongest + early)) + 0.5 * (early.max() - early.min()))


def try_layout(task: SweepTask, values: Values) -> Trial:
    """Work out one layout."""
    plan = task.plan
    try:
        blueprint = task.blueprint_at(values)
        built = task.stage_of(blueprint)
    except SceneError as fault:
        return Trial(values, float("nan"), (), str(fault), None)
    figures = layout_figures(built, plan.target, plan.bands, plan.surfaces)
    return Trial(
        values,
        merit_of(figures, plan.target.level_db) + tone_cost_db(built, plan.target),
        limits_of(blueprint, built, [place for field in task.fields for place in field.places]),
        "",
        figures,
    )


class Trials:
    """Memory of every layout tried; each is worked out once."""

    def __init__(self, task: SweepTask, workers: Workers[SweepTask, Values, Trial], possible: Values | None) -> None:
        self._task, self._workers = task, workers
        self.low = np.array([axis.values.min() for axis in task.plan.axes])
        self.high = np.array([axis.values.max() for axis in task.plan.axes])
        self._grain = np.array(
            [FINE.get(field.kind, 1e-3 * (b - a)) for field, a, b in zip(task.fields, self.low, self.high, strict=True)]
        )
        self._known: dict[Values, Trial] = {}
        self._toward = np.full(len(self.low), 0.5) if possible is None else self.fraction(np.array(possible))

    @property
    def all(self) -> tuple[Trial, ...]:
        """Every layout tried, in order."""
        return tuple(self._known.values())

    def fraction(self, values: FloatArray) -> FloatArray:
        """Where values (..., n) lie in their ranges, 0 to 1."""
        return np.asarray((values - self.low) / (self.high - self.low))

    def settings(self, fractions: FloatArray) -> Values:
        """Values at shares (n,) of the ranges, rounded to what one can set; ends of ranges stay as they are."""
        values = self.low + np.clip(fractions, 0.0, 1.0) * (self.high - self.low)
        rounded = np.clip(np.round(values / self._grain) * self._grain, self.low, self.high)
        return tuple(float(value) for value in np.round(rounded, 9) + 0.0)

    def tried(self, many: Sequence[FloatArray]) -> list[Trial]:
        """Work out layouts at shares (n,) of the ranges, those not known yet on all cores."""
        wanted = [self.settings(fractions) for fractions in many]
        new = [values for values in dict.fromkeys(wanted) if values not in self._known]
        for values, trial in zip(new, self._workers.answers(new), strict=True):
            self._known[values] = trial
        return [self._known[values] for values in wanted]

    def rank(self, trial: Trial) -> float:
        """Number to be made small: the merit, or how far a layout is from being allowed."""
        if trial.reason:  # a slope toward what is known to be possible
            away = self.fraction(np.array(trial.values)) - self._toward
            return IMPOSSIBLE + float(np.linalg.norm(away))
        return BROKEN + trial.broken if trial.broken else trial.merit_db


# How far each number of a good layout may move, and what holds the layout back.

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
