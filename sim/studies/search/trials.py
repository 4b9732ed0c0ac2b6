"""Layouts that a search tries: how good each is, which limits it breaks, and a memory of all of them.

Merit in dB, the smaller the better, from first reflections inside the target's window:

    merit = mean over loudspeakers of (strongest reflection + early energy)/2 + |difference of early energy|/2

Strongest reflection: the highest octave of the target's band, re direct.  Early energy: all reflections added, mean of
the target's octaves.  Difference: between the loudspeaker with most and that with least early energy.  All three are
levels of the same kind, so that 1 dB of merit is 1 dB of sound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray
from sim.errors import SceneError
from sim.layouts.figures import LayoutFigures, layout_figures
from sim.layouts.plan import SweepTask
from sim.layouts.workers import Workers
from sim.studies.search.limits import Limit, limits_of

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
        stage = task.stage_at(values)
    except SceneError as fault:
        return Trial(values, float("nan"), (), str(fault), None)
    figures = layout_figures(stage, plan.target, plan.bands, plan.surfaces)
    return Trial(values, merit_of(figures, plan.target.level_db), limits_of(blueprint, stage, task.fields), "", figures)


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
