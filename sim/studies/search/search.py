"""Search: ranges of a few numbers and a target in, several good layouts that differ out."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from sim.answers import Answer, printable
from sim.blueprint.reader import AnyScene, SceneFile, made_scene, read_scene
from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.layouts.fields import find_field
from sim.layouts.figures import layout_figures
from sim.layouts.plan import SweepTask, plan_sweep
from sim.layouts.records import EQUAL_DB
from sim.layouts.values import read_value, value_of
from sim.layouts.workers import Workers
from sim.pipeline import trace_scene
from sim.placement.built_scene import build_scene
from sim.placement.limits import limits_of, what_is_not_judged
from sim.progress import Report, say_nothing
from sim.responses.measure import SAME_DB, Measure, measure_of
from sim.responses.tone import tone_cost_db
from sim.studies.search.appearing import Appearing, appearing, off_the_edge
from sim.studies.search.niches import find_layouts, left_alone, same_slope
from sim.studies.search.trials import Offender, Range, Trial, Trials, Values, merit_of, offenders, ranges_of, try_layout

MOST_FIELDS: Final = 12
"""With more, a search of some thousand layouts is a lottery (common practice, no source)."""
MOST_LAYOUTS: Final = 12

Ends = str | Sequence[float | str]
"""A range in one text, "1.0:1.4", or its two ends: numbers in the unit of the scene, or texts with units."""


@printable
@dataclass(frozen=True, slots=True)
class FoundLayout:
    """One good layout.

    Attributes
    ----------
    trial
        Its numbers, merit, figures, and the limits it only just keeps.
    equal
        Whether its measure is the same as the best one's, within the uncertainty of the physics.
    slope_of
        Number of a better layout whose slope it lies on: what lies between is no worse; -1 for one of its own.
    ranges
        For every field how far it may move, the others staying.
    offenders
        The strongest reflection of each loudspeaker.
    measure
        What it is judged by, traced in full.
    appearing
        Reflections that appear nearer than it can be set up.
    """

    trial: Trial
    equal: bool
    slope_of: int
    ranges: tuple[Range, ...]
    offenders: tuple[Offender, ...]
    measure: Measure
    appearing: tuple[Appearing, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Search(Answer):
    """What a search found.

    Attributes
    ----------
    task
        The scene and the numbers that vary; the two values of each axis are the ends of its range.
    seed
        What the search drew its numbers from.
    layouts
        The best first; none when no layout is possible and keeps all limits.
    now
        The scene as it stands: its numbers (nan where one follows from something else) and figures.
    tried, impossible, broken
        Numbers of layouts: in all, impossible, and possible but beyond a limit.
    spread_db
        Worst less best merit among allowed layouts; nan when there is none.
    obstacles
        The most frequent reasons why layouts were impossible or beyond a limit, with their numbers.
    not_judged
        Limits that the scene's numbers do not allow to be judged.
    measure
        What the scene as it stands is judged by, traced in full; None where it is impossible.
    """

    question: ClassVar[str] = "search"

    task: SweepTask
    seed: int
    layouts: tuple[FoundLayout, ...]
    now: Trial
    tried: int
    impossible: int
    broken: int
    spread_db: float
    obstacles: tuple[tuple[str, int], ...]
    not_judged: tuple[str, ...]
    measure: Measure | None

    @property
    def flat(self) -> bool:
        """Whether nothing in these ranges matters by more than 0.5 dB."""
        return self.spread_db <= EQUAL_DB

    def headline(self) -> str:
        """The best layout, or what stood in the way."""
        if not self.layouts:
            return f"no layout of {self.tried} tried is possible and keeps all limits"
        best = self.layouts[0].trial
        where = ", ".join(
            f"{axis.field} {axis.written(value)}" for axis, value in zip(self.task.plan.axes, best.values, strict=True)
        )
        measure = f"measure: {self.layouts[0].measure.total_db:.1f} dB"
        return f"{len(self.layouts)} good of {self.tried} layouts tried; best: {where} ({measure})"

    def rows(self) -> list[dict[str, Any]]:
        """The scene as it stands, then one row for each layout: its numbers, and the measure in dB (less is better)."""
        axes = self.task.plan.axes
        names = [f"{axis.field} [{axis.unit}]" if axis.unit else axis.field for axis in axes]
        reported = []
        for name, trial, measure in (
            ("as it stands", self.now, self.measure),
            *((f"layout {n}", one.trial, one.measure) for n, one in enumerate(self.layouts, start=1)),
        ):
            values = [float(axis.in_unit(value)) for axis, value in zip(axes, trial.values, strict=True)]
            total = float("nan") if measure is None else measure.total_db
            reported.append({"layout": name, **dict(zip(names, values, strict=True)), "measure_db": total})
        return reported

    def scene(self, layout: FoundLayout) -> SceneFile:
        """A layout as a scene, to be traced or compared."""
        plan = self.task.plan
        return made_scene(self.blueprint(layout), self.task.folder, plan.scene_path)

    def blueprint(self, layout: FoundLayout) -> Blueprint:
        """The scene with the layout's numbers; stands, and pads on a desk, grow or shrink with what is on them."""
        return carried(self.task, layout.trial.values)


def carried(task: SweepTask, values: Sequence[float]) -> Blueprint:
    """The scene at values of the axes, with what carries loudspeakers as high as they now are."""
    changed = task.blueprint_at(values)
    stands = []
    for old, new in zip(task.blueprint.loudspeakers, changed.loudspeakers, strict=True):
        ups = (old.acoustic_axis.up, new.acoustic_axis.up)
        rise = 0.0 if None in ups else float(ups[1] or 0.0) - float(ups[0] or 0.0)
        if new.standing == "stand" and old.stand_height == new.stand_height and new.stand_height is not None:
            height = round(new.stand_height + rise, 4)
            new = new.model_copy(update={"stand_height": height}) if height > 0.0 else new
        elif new.standing == "desk" and old.pad == new.pad and rise > 0.0:
            new = new.model_copy(update={"pad": round(new.pad + rise, 4)})
        stands.append(new)
    return changed.model_copy(update={"loudspeakers": tuple(stands)})


def search(
    scene: AnyScene,
    vary: Mapping[str, Ends],
    *,
    layouts: int = 4,
    seed: int | None = None,
    tied: bool = True,
    processes: int | None = None,
    report: Report = say_nothing,
) -> Search:
    """Search ranges of numbers for layouts with weak first reflections.

    `vary` maps fields, such as "left.height", to ranges.  The seed, left out, is that of the scene; the same seed gives
    the same answer, whatever the number of processes.  Several processes start afresh from the main module: call this
    below `if __name__ == "__main__"`.

    Raises
    ------
    SceneError
        If scene, field or range cannot be.
    """
    task = plan_search(read_scene(scene), vary, tied=tied)
    if not 1 <= layouts <= MOST_LAYOUTS:
        raise SceneError("layouts", f"{layouts} are asked for", f"ask for 1 to {MOST_LAYOUTS}")
    seed = task.blueprint.method.seed if seed is None else seed
    if seed < 0:
        raise SceneError("seed", f"it is {seed}", "give 0 or more")
    now = as_it_stands(task)
    workers: Workers[SweepTask, Values, Trial]
    with (workers := Workers(try_layout, task, processes=processes, expected=1000, say=report)):
        trials = Trials(task, workers, now.values if np.isfinite(now.values).all() and not now.reason else None)
        own = trials.fraction(np.array(now.values))
        begin = [own] if np.isfinite(own).all() and own.min() >= 0.0 and own.max() <= 1.0 else []
        found = find_layouts(trials, layouts, seed, begin, report)
        found = [off_the_edge(trials, task, left_alone(trials, trial, now.values)) for trial in found]
        found.sort(key=lambda trial: trial.merit_db)
        allowed = [trial.merit_db for trial in trials.all if trial.allowed]
        spread = max(allowed) - min(allowed) if allowed else float("nan")
        if spread <= EQUAL_DB:
            found = found[:1]
        tried = trials.all
        slopes = same_slope(trials, found)
        report("finding out how far each number may move")
        ranges = ranges_of(trials, found)
        beside = [appearing(trials, task, trial) for trial in found]
    scene_now = made_scene(task.blueprint, task.folder, task.plan.scene_path)
    report("judging what was found")
    measure = None if now.reason else _measured(scene_now, task)
    judged = [
        (
            trial,
            slope,
            spans,
            near,
            _measured(made_scene(carried(task, trial.values), task.folder, task.plan.scene_path), task),
        )
        for trial, slope, spans, near in zip(found, slopes, ranges, beside, strict=True)
    ]
    order = sorted(range(len(judged)), key=lambda n: (len(judged[n][-1].hindrances), judged[n][-1].total_db))
    least = judged[order[0]][-1].total_db if order else 0.0
    made = tuple(
        FoundLayout(
            trial,
            one.total_db < least + SAME_DB,
            _slope(order, slope, place),
            spans,
            offenders(task, trial.figures),
            one,
            near,
        )
        for place, (trial, slope, spans, near, one) in enumerate(judged[n] for n in order)
        if trial.figures is not None
    )
    return Search(
        task,
        seed,
        made,
        now,
        len(tried),
        sum(bool(trial.reason) for trial in tried),
        sum(trial.broken > 0.0 for trial in tried),
        spread,
        _obstacles(tried),
        what_is_not_judged(task.blueprint),
        measure,
    )


def _slope(order: Sequence[int], slope: int, place: int) -> int:
    """Where the layout whose slope this one lies on is among the judged ones; -1 when that is no better."""
    found = order.index(slope) if slope >= 0 else -1
    return found if found < place else -1


def _measured(scene: SceneFile, task: SweepTask) -> Measure:
    return measure_of(trace_scene(scene, maps=False), [place for field in task.fields for place in field.places])


def plan_search(scene: SceneFile, vary: Mapping[str, Ends], *, tied: bool = True) -> SweepTask:
    """Read the ranges; raises SceneError as `search`."""
    if not vary:
        raise SceneError("vary", "nothing varies", "name a field and its range, such as left.height=1.0:1.4")
    if len(vary) > MOST_FIELDS:
        raise SceneError("vary", f"{len(vary)} numbers vary", f"vary {MOST_FIELDS} at most, those you can change")
    blueprint = scene.blueprint
    ends: dict[str, list[float | str]] = {}
    for name, given in vary.items():
        field = find_field(blueprint, name, tied=tied)
        parts = [part.strip() for part in given.split(":")] if isinstance(given, str) else [str(end) for end in given]
        if len(parts) != 2 or not all(parts):
            raise SceneError(name, f'"{given}" is no range', f"write FROM:TO, such as {name}={_example(field.kind)}")
        low, high = (read_value(field, part, blueprint.units) for part in parts)
        if low > high:
            raise SceneError(name, f'the range "{":".join(parts)}" is reversed', f"write {name}={parts[1]}:{parts[0]}")
        ends[name] = list(parts)
    return plan_sweep(scene, ends, tied=tied)


def as_it_stands(task: SweepTask) -> Trial:
    """The scene itself as a trial; values are nan where the scene leaves a number to follow from something else."""
    values = tuple(value_of(task.blueprint, field) for field in task.fields)
    plan = task.plan
    try:
        built = build_scene(task.blueprint, task.folder)
    except SceneError as fault:
        return Trial(values, float("nan"), (), str(fault), None)
    figures = layout_figures(built, plan.target, plan.bands, plan.surfaces)
    limits = limits_of(task.blueprint, built, [place for field in task.fields for place in field.places])
    merit = merit_of(figures, plan.target.level_db) + tone_cost_db(built, plan.target)
    return Trial(values, merit, limits, "", figures)


def _example(kind: str) -> str:
    return {"length": "1.0:1.4", "degrees": "-10:15"}.get(kind, "1:2")


def _obstacles(trials: Sequence[Trial]) -> tuple[tuple[str, int], ...]:
    """What ruled layouts out most often: the first words of reasons, or limits without their numbers."""
    words: Counter[str] = Counter()
    first: dict[str, str] = {}
    for trial in trials:
        if trial.reason:  # those that differ by numbers only are one
            reported = trial.reason.split(";")[0]
            words[first.setdefault(re.sub(r"[\d.]+", "#", reported), reported)] += 1
        for kind in {limit.kind for limit in trial.limits if limit.broken}:
            words[f"limit: {kind}"] += 1
    return tuple(words.most_common(4))
