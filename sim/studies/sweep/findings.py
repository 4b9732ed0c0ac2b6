"""What a sweep says: the best settings, what they gain, and the thresholds worth a line.

Between two neighbouring layouts of which only one has the reflection the setting is looked for by interpolating how far
inside the surface the point lies, and then made sure of by halving on real layouts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.arrays import BoolArray, FloatArray, IntArray
from sim.errors import SceneError
from sim.layouts.figures import LayoutFigures, layout_figures, mirror_points
from sim.layouts.plan import SweepTask
from sim.layouts.records import DONE, EQUAL_DB, Region, Sweep, best_point, best_regions, merit_db
from sim.layouts.values import value_of
from sim.placement.built_scene import build_scene
from sim.placement.stops import TILT_LIMIT_DEG

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


# What a sweep says: the best settings, what they gain, what no setting gets rid of, and limits worth a line.

SIT_STAND: Final = ("top", "up")
"""Keys whose two values, when there are just two, are the sitting and the standing height."""


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A value of an axis that deserves a line in a table or picture.

    Attributes
    ----------
    axis, value
        Number of the axis, and the value in metres, degrees or as it is.
    words
        What it means.
    """

    axis: int
    value: float
    words: str


@dataclass(frozen=True, slots=True)
class Stubborn:
    """A reflection that is there in every layout of a sweep.

    Attributes
    ----------
    axis
        Number of the axis that does not clear it: the piece's own, or the first.
    surface, loudspeakers
        Where it strikes, and whose it is.
    least_db, most_db
        Lowest and highest level of the louder of them among the target's octaves.
    """

    axis: int
    surface: str
    loudspeakers: tuple[str, ...]
    least_db: float
    most_db: float


@dataclass(frozen=True, slots=True)
class Findings:
    """What a sweep says.

    Attributes
    ----------
    best
        Number of the best point, -1 when no layout is possible.
    regions
        Settings as good as the best.
    now
        Figures of the scene as it stands, None when it is impossible.
    gain_db
        How much lower the early level of the louder loudspeaker is at best than in the scene as it stands; nan if
        either is missing.
    thresholds
        Where reflections appear and leave.
    stubborn
        Reflections that are there in every layout: first those of the pieces that vary, then the loudest.
    limits
        Values worth a line.
    """

    best: int
    regions: tuple[Region, ...]
    now: LayoutFigures | None
    gain_db: float
    thresholds: tuple[Threshold, ...]
    stubborn: tuple[Stubborn, ...]
    limits: tuple[LimitLine, ...]

    @property
    def helps(self) -> bool:
        """Whether the best is better than the scene as it stands by more than what is called equal."""
        return not self.gain_db <= EQUAL_DB


def find_out(sweep: Sweep, task: SweepTask) -> Findings:
    """Work out what a sweep says; a few more layouts are built to narrow thresholds down."""
    best = best_point(sweep)
    plan = sweep.plan
    now: LayoutFigures | None = None
    try:
        built = build_scene(task.blueprint, task.folder)
        now = layout_figures(built, plan.target, plan.bands, plan.surfaces)
    except SceneError:
        now = None
    gain = float("nan") if now is None or best < 0 else float(now.early_db.max() - merit_db(sweep)[best])
    return Findings(
        best, best_regions(sweep), now, gain, thresholds(sweep, task), stubborn(sweep, task), limit_lines(sweep, task)
    )


def stubborn(sweep: Sweep, task: SweepTask) -> tuple[Stubborn, ...]:
    """Reflections that some driver of a loudspeaker sends in every layout that is possible."""
    plan, figures = sweep.plan, sweep.figures
    done = np.flatnonzero(sweep.state == DONE)
    if not done.size:
        return ()
    always = np.ones((len(plan.loudspeakers), len(plan.surfaces)), dtype=bool)
    least, most = np.full(len(plan.surfaces), np.inf), np.full(len(plan.surfaces), -np.inf)
    for part in np.array_split(done, max(1, len(done) // 512)):
        always &= ((figures.clear_m[part] > 0.0) & (figures.hidden[part] == 0.0)).any(axis=2).all(axis=0)
        louder = figures.worst_db[part].max(axis=1)
        least, most = np.minimum(least, louder.min(axis=0)), np.maximum(most, louder.max(axis=0))
    found = []
    for f in np.flatnonzero(always.any(axis=0)):
        if most[f] <= SILENCE_DB:
            continue
        axis = _axis_of_piece(task, plan.surfaces[f])
        names = tuple(name for name, there in zip(plan.loudspeakers, always[:, f], strict=True) if there)
        found.append((axis is None, -most[f], Stubborn(axis or 0, plan.surfaces[f], names, least[f], most[f])))
    found.sort(key=lambda one: one[:2])
    return tuple(one for _, _, one in found)


def limit_lines(sweep: Sweep, task: SweepTask) -> tuple[LimitLine, ...]:
    """Values worth a line: where a tilted box needs a strap, the heights for sitting and standing, the scene's own."""
    lines: list[LimitLine] = []
    for number, (axis, field) in enumerate(zip(sweep.plan.axes, task.fields, strict=True)):
        low, high = float(axis.values.min()), float(axis.values.max())
        path = field.places[0]
        if path[0] == "loudspeakers" and path[-1] == "tilt_deg":
            lines += [
                LimitLine(number, limit, f"beyond {TILT_LIMIT_DEG:g} degrees of tilt a cabinet needs a strap")
                for limit in (-TILT_LIMIT_DEG, TILT_LIMIT_DEG)
                if low <= limit <= high
            ]
        if path[-1] in SIT_STAND and path[0] in ("furniture", "listener") and len(axis.values) == 2:
            lines += [LimitLine(number, low, "sitting height"), LimitLine(number, high, "standing height")]
        own = value_of(task.blueprint, field)
        if low <= own <= high:
            lines.append(LimitLine(number, own, "the scene as it stands"))
    return tuple(lines)


def _axis_of_piece(task: SweepTask, surface: str) -> int | None:
    """Number of the axis that varies the piece of furniture a surface belongs to."""
    for number, field in enumerate(task.fields):
        section, index = field.places[0][:2]
        if section == "furniture" and surface.startswith(f"{task.blueprint.furniture[int(index)].name} "):
            return number
    return None
