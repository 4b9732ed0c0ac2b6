"""What a sweep says: the best settings, what they gain, what no setting gets rid of, and limits worth a line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.errors import SceneError
from sim.layouts.figures import LayoutFigures, layout_figures
from sim.layouts.plan import SweepTask
from sim.layouts.records import DONE, EQUAL_DB, Region, Sweep, best_point, best_regions, merit_db
from sim.layouts.values import value_of
from sim.placement.stage import set_stage
from sim.placement.stops import TILT_LIMIT_DEG
from sim.studies.sweep.thresholds import Threshold, thresholds

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
        stage = set_stage(task.blueprint, task.folder)
        now = layout_figures(stage, plan.target, plan.bands, plan.surfaces)
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
