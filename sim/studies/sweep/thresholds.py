"""Where reflections appear and leave: settings at which a reflection point crosses a rim or comes out of hiding.

Between two neighbouring layouts of which only one has the reflection the setting is looked for by interpolating how far
inside the surface the point lies, and then made sure of by halving on real layouts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray
from sim.errors import SceneError
from sim.layouts.figures import mirror_points
from sim.layouts.plan import SweepTask
from sim.layouts.records import DONE, Sweep, best_point

FINE: Final = {"length": 2.0e-4, "degrees": 0.02}
"""Metres and degrees to which a setting is narrowed down; half of it is the error of what is told."""
FINE_FRACTION: Final = 0.01
"""The same for plain numbers, as a share of the step."""
MOST: Final = 40
"""Thresholds that are narrowed down, those of the loudest reflections first."""

MOST_GUESSES: Final = 6
"""False position on a curve may creep from one side; after so many guesses the stretch is halved."""

Change = tuple[int, int, int]
"""Loudspeaker, driver, surface."""


@dataclass(frozen=True, slots=True)
class Threshold:
    """A setting at which a reflection appears or leaves.

    Attributes
    ----------
    axis
        Number of the axis along which the setting is; all others are at the best point.
    low, high
        The reflection is there on one side and not on the other of what lies between, in metres or degrees.
    appears
        Whether it is there above.
    loudspeaker, driver, surface
        Whose reflection it is.
    level_db
        Highest level of the loudspeaker's reflection there among the target's octaves, next to the threshold.
    """

    axis: int
    low: float
    high: float
    appears: bool
    loudspeaker: str
    driver: str
    surface: str
    level_db: float

    @property
    def value(self) -> float:
        """Middle of what lies between."""
        return 0.5 * (self.low + self.high)


def thresholds(sweep: Sweep, task: SweepTask) -> tuple[Threshold, ...]:
    """Find where reflections appear and leave along each axis through the best point, the loudest first.

    For axes that run side by side nothing is told: between their values there is no setting.
    """
    plan = sweep.plan
    best = best_point(sweep)
    if best < 0 or (plan.together and len(plan.axes) > 1):
        return ()
    found: list[tuple[float, int, int, int, Change]] = []
    for number, axis in enumerate(plan.axes):
        line = _line(sweep, best, number)
        order = np.argsort(axis.values)
        line = line[order]
        reaches = _reaches(sweep, line)
        worst = sweep.figures.worst_db[line]
        both = (sweep.state[line[:-1]] == DONE) & (sweep.state[line[1:]] == DONE)
        for k in np.flatnonzero(both):
            for s, d, f in np.argwhere(reaches[k] != reaches[k + 1]):
                level = float(worst[k : k + 2, s, f].max())
                found.append((level, number, int(line[k]), int(line[k + 1]), (int(s), int(d), int(f))))
    found.sort(key=lambda one: (-round(one[0], 3), one[1:]))  # left before right where rounding parts them
    looked: dict[tuple[float, ...], tuple[FloatArray, FloatArray] | None] = {}
    return tuple(_narrowed(sweep, task, looked, *one) for one in found[:MOST])


def _line(sweep: Sweep, through: int, axis: int) -> IntArray:
    """Numbers of the points along one axis through a point."""
    points = np.arange(sweep.plan.points).reshape(sweep.plan.shape)
    place: list[int | slice] = list(sweep.plan.places(through))
    place[axis] = slice(None)
    return np.asarray(points[tuple(place)])


def _reaches(sweep: Sweep, points: IntArray) -> BoolArray:
    return np.asarray((sweep.figures.clear_m[points] > 0.0) & (sweep.figures.hidden[points] == 0.0))


def _narrowed(
    sweep: Sweep,
    task: SweepTask,
    looked: dict[tuple[float, ...], tuple[FloatArray, FloatArray] | None],
    level: float,
    axis: int,
    one: int,
    other: int,
    change: Change,
) -> Threshold:
    """Narrow one threshold down between two points of the grid."""
    plan, figures = sweep.plan, sweep.figures
    values = list(plan.values(one))
    low, high = values[axis], plan.values(other)[axis]
    s, d, f = change
    there_below = bool(_reaches(sweep, np.array([one]))[0][change])

    def clear_at(setting: float) -> tuple[float, bool] | None:
        values[axis] = setting
        key = tuple(values)
        if key not in looked:
            try:
                looked[key] = mirror_points(task.stage_at(key), plan.surfaces)[1:]
            except SceneError:
                looked[key] = None
        seen = looked[key]
        return None if seen is None else (float(seen[0][change]), bool(seen[1][change]))

    fine = FINE.get(task.fields[axis].kind, FINE_FRACTION * (high - low))
    ends = [(float(figures.clear_m[p][change]), bool(figures.hidden[p][change])) for p in (one, other)]
    low, high = _between(clear_at, low, high, ends, there_below, fine)
    return Threshold(
        axis, low, high, not there_below, plan.loudspeakers[s], plan.drivers[s][d], plan.surfaces[f], level
    )


def _between(
    clear_at: Callable[[float], tuple[float, bool] | None],
    low: float,
    high: float,
    ends: list[tuple[float, bool]],
    there_below: bool,
    fine: float,
) -> tuple[float, float]:
    """Narrow the stretch down in which a reflection changes: false position where it can be told, else halving."""
    tries = 0
    while high - low > fine:
        tries += 1
        guess = 0.5 * (low + high)
        (below, hidden_below), (above, hidden_above) = ends
        if tries <= MOST_GUESSES and below * above < 0.0 and not (hidden_below or hidden_above):  # nan is neither
            crossing = low + (high - low) * below / (below - above)
            nudge = 0.45 * fine  # to the far side of the crossing, so that both ends come near
            toward = 1.0 if crossing - low < high - crossing else -1.0
            guess = crossing + toward * nudge
            if not low < guess < high:
                guess = 0.5 * (low + high)
        seen = clear_at(guess)
        if seen is None:
            return low, high  # the layout in between cannot be: no more can be told
        if (seen[0] > 0.0 and not seen[1]) == there_below:
            low, ends = guess, [seen, ends[1]]
        else:
            high, ends = guess, [ends[0], seen]
    return low, high
