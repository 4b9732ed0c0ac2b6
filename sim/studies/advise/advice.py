"""What to do first: every change a person can make is tried, and the best are traced in full, alone and together.

Each setting is first traced as a trial, mirrors of two orders and nothing else, which takes a twentieth of the time;
the best of each kind that then matter are traced in full.  A kind of which only the first was done says so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from sim.blueprint.reader import AnyScene, SceneFile, made_scene, read_scene
from sim.errors import SceneError
from sim.pipeline import trace_scene, trace_trial
from sim.progress import Report, say_nothing
from sim.responses.measure import SAME_DB, Measure, changes_between, measure_of
from sim.responses.records import Arrival, Results
from sim.showing.archive.kept_traces import trace_kept
from sim.studies.advise.records import EFFORTS, Advice, Line, Setting, changed_scene
from sim.studies.advise.trials import ROLLED, settings_of

TRACED_ALONE: Final = 3
"""So many kinds are traced in full, whatever the machine, so that the answer is the same on any (a bedroom then takes
less than the minute that people wait)."""
TOGETHER: Final = 3
"""So many settings are put together at most."""
SURE = 2.0
"""A gain of so many times the uncertainty that neighbouring amounts share is called sure."""


@dataclass(frozen=True, slots=True)
class _Tried:
    """One setting, screened."""

    setting: Setting
    measure: Measure | None
    reason: str


def advise(
    scene: AnyScene, report: Report = say_nothing, *, order: int | None = None, waves_to_hz: float | None = None
) -> Advice:
    """Try what a person can do in a scene, and say what to do first.

    Parameters
    ----------
    scene
        The room.
    report
        Called with a few words at the start of each stage.
    order, waves_to_hz
        As in `trace`, for everything that is traced; the advised scenes are written with them.  Left out, the scene's.

    Raises
    ------
    SceneError
        If the scene cannot be.
    """
    read = _with_method(read_scene(scene), {"order": order, "waves_to_hz": waves_to_hz})
    report("tracing the scene as it stands")
    before = trace_kept(read)
    now = measure_of(before)
    bare = measure_of(trace_trial(read))
    settings = settings_of(before)
    tried: list[_Tried] = []
    for kind, row in groupby(settings, key=lambda one: one.kind):
        amounts = list(row)
        last = len(tried) + len(amounts)
        which = f"{len(tried) + 1} to {last}" if len(amounts) > 1 else f"{last}"
        report(f"trying {which} of {len(settings)}: {kind}")
        tried += [_screened(read, setting, bare) for setting in amounts]
    best, impossible = _best_of_kinds(tried, bare)
    best.sort(key=lambda one: one[1])
    lines: list[Line] = []
    traced: dict[str, Results] = {}
    for one, total_db, steady in best:
        full = None
        if total_db < bare.total_db - 0.5 * SAME_DB and len(traced) < TRACED_ALONE:
            report(f"tracing in full: {one.setting.words}")
            full = traced[one.setting.kind] = _traced(read, (one.setting,))
        lines.append(_line((one.setting,), one.measure, bare, now, full, steady))
    first = _first_of(lines, now)
    report("trying the best together")
    together, after = _together(read, lines, bare, now, report)
    alone = before
    if first is not None:
        alone = traced[first.kind] if first.kind in traced else _traced(read, first.settings)
    remains = _remains(alone)
    if together is not None and after is not None:
        remains += f" {_in_all(together, after)}"
    ordered = sorted(lines, key=_order)
    return Advice(read, now, first, tuple(ordered), together, tuple(impossible), remains, before, after or alone)


def _with_method(scene: SceneFile, given: Mapping[str, float | None]) -> SceneFile:
    """The scene with numbers of its method that are given here."""
    update = {name: value for name, value in given.items() if value is not None}
    if not update:
        return scene
    method = type(scene.blueprint.method)(**{**scene.blueprint.method.model_dump(), **update})
    blueprint = scene.blueprint.model_copy(update={"method": method})
    blueprint.model_fields_set.add("method")
    return made_scene(blueprint, scene.folder, scene.path)


def _places(settings: Sequence[Setting]) -> list[tuple[str | int, ...]]:
    return [place for setting in settings for place in setting.moved]


def _traced(scene: SceneFile, settings: Sequence[Setting]) -> Results:
    return trace_scene(changed_scene(scene, settings), maps=False)


def _trial(scene: SceneFile, settings: Sequence[Setting]) -> Measure:
    return measure_of(trace_trial(changed_scene(scene, settings)), _places(settings))


def _screened(scene: SceneFile, setting: Setting, bare: Measure) -> _Tried:
    """One setting as a trial; what hurts anew makes it impossible."""
    try:
        measure = _trial(scene, (setting,))
    except SceneError as fault:
        return _Tried(setting, None, f"{fault.where}: {fault.found}".partition(". ")[0])
    new = [words for words in measure.hindrances if words not in bare.hindrances]
    return _Tried(setting, None if new else measure, new[0] if new else "")


def _best_of_kinds(
    tried: Sequence[_Tried], bare: Measure
) -> tuple[list[tuple[_Tried, float, bool]], list[tuple[str, str]]]:
    """The best setting of each kind, its measure, whether its neighbours share half its gain; and what cannot be."""
    kinds: dict[str, list[_Tried]] = {}
    for one in tried:
        kinds.setdefault(one.setting.kind, []).append(one)
    best, impossible = [], []
    for kind, row in kinds.items():
        possible = [one for one in row if one.measure is not None]
        if not possible:
            impossible.append((kind, row[0].reason))
            continue
        totals = [float("nan") if one.measure is None else one.measure.total_db for one in row]
        place = min((n for n, one in enumerate(row) if one.measure is not None), key=lambda n: totals[n])
        gain = bare.total_db - totals[place]
        beside = [totals[n] for n in (place - 1, place + 1) if 0 <= n < len(row)]
        steady = all(bare.total_db - total >= 0.5 * gain for total in beside)
        best.append((row[place], totals[place], steady))
    return best, impossible


def _line(
    settings: tuple[Setting, ...],
    screened: Measure | None,
    bare: Measure,
    now: Measure,
    full: Results | None,
    steady: bool,
) -> Line:
    """One line: against the scene traced alike, in full or as a trial."""
    against = bare if full is None else now
    measure = screened if full is None else measure_of(full, _places(settings))
    assert measure is not None
    gain = against.total_db - measure.total_db
    verdict = "the same" if abs(gain) < SAME_DB else "better" if gain > 0.0 else "worse"
    changed = [one for one in changes_between(against, measure) if one.verdict == "worse" and one.name != "total"]
    notes = [setting.worse for setting in settings if setting.worse]
    return Line(
        kind=" + ".join(setting.kind for setting in settings),
        words="; ".join(setting.words for setting in settings),
        effort=max((setting.effort for setting in settings), key=EFFORTS.index),
        settings=settings,
        measure=measure,
        gain_db=gain,
        verdict=verdict,
        worse=(*(one.words for one in changed), *notes),
        sure=_sure(gain, steady, full is not None),
        full=full is not None,
    )


def _sure(gain_db: float, steady: bool, full: bool) -> str:
    if abs(gain_db) < SAME_DB:
        return "the same within what the physics knows"
    words = "sure" if abs(gain_db) >= SURE * SAME_DB and full else "likely"
    if not steady and gain_db > 0.0:
        words += "; try the exact amount, a little more or less gives less than half"
    return words if full else f"{words}; traced as a trial only"


def _first_of(lines: Sequence[Line], now: Measure) -> Line | None:
    """The least effort that is better by more than the uncertainty; what hurts now comes before.

    Of lines of one effort whose gains are the same: what leaves boxes upright, then what makes least else worse, then
    the best.
    """
    cures = [one for one in lines if len(one.measure.hindrances) < len(now.hindrances)]
    better = cures or [one for one in lines if one.verdict == "better" and one.full]
    least = min((EFFORTS.index(one.effort) for one in better), default=0)
    mine = [one for one in better if EFFORTS.index(one.effort) == least]
    most = max((one.gain_db for one in mine), default=0.0)
    equal = [one for one in mine if most - one.gain_db < SAME_DB]
    return min(equal, key=lambda one: (one.kind.startswith(ROLLED), len(one.worse), -one.gain_db), default=None)


def _order(line: Line) -> tuple[int, int, float]:
    return (("better", "the same", "worse").index(line.verdict), EFFORTS.index(line.effort), -line.gain_db)


def _together(
    scene: SceneFile, lines: Sequence[Line], bare: Measure, now: Measure, report: Report
) -> tuple[Line | None, Results | None]:
    """The best with one or two more, each step the one that adds most as a trial; traced in full at the end."""
    useful = sorted((one for one in lines if one.verdict == "better"), key=lambda one: -one.gain_db)
    if len(useful) < 2:
        return None, None
    chosen, measure = [useful[0].settings[0]], None
    total_db = bare.total_db - useful[0].gain_db
    while len(chosen) < TOGETHER:
        found = []
        for one in useful:
            if one.settings[0] in chosen or one.kind.partition(":")[0] in {c.kind.partition(":")[0] for c in chosen}:
                continue
            report(f"trying together: {one.kind}")
            tried = _both(scene, (*chosen, one.settings[0]), bare)
            if tried is not None:
                found.append((tried.total_db, one.settings[0], tried))
        if not found:
            break
        least, setting, judged = min(found, key=lambda each: each[0])
        if total_db - least < SAME_DB:
            break
        chosen, total_db, measure = [*chosen, setting], least, judged
    if len(chosen) < 2:
        return None, None
    report("tracing the best together in full")
    after = _traced(scene, chosen)
    return _line(tuple(chosen), measure, bare, now, after, True), after


def _both(scene: SceneFile, settings: Sequence[Setting], bare: Measure) -> Measure | None:
    try:
        measure = _trial(scene, settings)
    except SceneError:
        return None
    return None if set(measure.hindrances) - set(bare.hindrances) else measure


def _remains(after: Results) -> str:
    """The strongest reflection that is left, and how far it is above the target."""
    worst, level_db = _worst(after), after.scene.blueprint.target.level_db
    if worst is None:
        return "Nothing remains."
    if worst.worst_db <= level_db:
        return f"All single reflections are then below the target of {level_db:g} dB."
    return (
        f"What remains: {worst.via}, {worst.worst_db:.1f} dB at {worst.main.delay_ms:.1f} ms, "
        f"{worst.worst_db - level_db:.1f} dB above the target."
    )


def _in_all(together: Line, after: Results) -> str:
    """The same for the best together."""
    worst, level_db = _worst(after), after.scene.blueprint.target.level_db
    count = len(together.settings)
    left = "nothing" if worst is None else f"{worst.via}, {worst.worst_db:.1f} dB"
    above = "" if worst is None or worst.worst_db > level_db else ", below the target"
    return f"With the best {count} together (measure: {together.measure.total_db:.1f} dB): {left}{above}."


def _worst(results: Results) -> Arrival | None:
    ear = results.built.listener_names[0]
    left = [one for one in results.responses.arrivals if one.listener == ear and one.number == 1]
    return max(left, key=lambda one: one.worst_db, default=None)
