"""What to do first: every change a person can make is tried, and the best are traced in full, alone and together.

Each setting is first traced without edge diffraction, which takes a tenth of the time; the best of each kind that
then matter are traced with it.  A kind of which only the first was done says so.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from sim.answers import Answer, Labelled, printable
from sim.blueprint.reader import AnyScene, SceneFile, read_scene
from sim.errors import SceneError
from sim.pipeline import trace_scene
from sim.progress import Report, say_nothing
from sim.responses.measure import COMPONENTS, SAME_DB, Measure, changes_between, measure_of
from sim.responses.records import Results
from sim.studies.advise.trials import EFFORTS, Setting, changed_scene, settings_of

TRACED_ALONE: Final = 5
"""So many kinds are traced with edges."""
TOGETHER: Final = 3
"""So many settings are put together at most."""
TIME_S: Final = 50.0
"""After so long no further setting is traced with edges (a minute is what people wait)."""
SURE = 2.0
"""A gain of so many times the uncertainty that neighbouring amounts share is called sure."""


@printable
@dataclass(frozen=True, slots=True)
class Line:
    """The best amount of one kind of change.

    Attributes
    ----------
    kind, words, effort
        As in the setting: "tilt"; what to do; "free", "an hour", "money" or "carpentry".
    settings
        What was changed; several for changes made together.
    measure
        What the layout with it is judged by.
    gain_db
        By how much it lowers the measure; negative, it makes things worse.
    verdict
        "better", "worse" or "the same".
    worse
        What gets worse, in sentences.
    sure
        How sure that is, in words.
    full
        Whether edge diffraction was traced.
    """

    kind: str
    words: str
    effort: str
    settings: tuple[Setting, ...]
    measure: Measure
    gain_db: float
    verdict: str
    worse: tuple[str, ...]
    sure: str
    full: bool


@dataclass(frozen=True, slots=True, repr=False)
class Advice(Answer):
    """What to do first in a scene.

    Attributes
    ----------
    scene
        What was asked.
    now
        What the scene as it stands is judged by.
    first
        The line to act on first; None when nothing that was tried is better by more than the uncertainty.
    lines
        All kinds, the least effort first among what is better, then what is the same, then what is worse.
    together
        The best two or three at once; None when there are no two.
    impossible
        (kind, reason) of kinds of which no amount can be.
    remains
        What remains after the first and after all, in a sentence.
    before, after
        The traced scene, and with `together`, else with `first`, else the same.
    """

    question: ClassVar[str] = "advise"

    scene: SceneFile
    now: Measure
    first: Line | None
    lines: tuple[Line, ...]
    together: Line | None
    impossible: tuple[tuple[str, str], ...]
    remains: str
    before: Results
    after: Results

    def headline(self) -> str:
        """Do this first, because; and what remains."""
        if self.first is None:
            return f"Leave it as it is: nothing that was tried is better by more than {SAME_DB:g} dB. {self.remains}"
        return f"Do this first ({self.first.effort}): {self.first.words}, because {self._because()}. {self.remains}"

    def _because(self) -> str:
        """The component that gains most, weighted, in words."""
        assert self.first is not None
        before, after = self.now, self.first.measure
        names = sorted(
            COMPONENTS, key=lambda name: before.weights[name] * (after.components[name] - before.components[name])
        )
        best = names[0]
        words, unit = COMPONENTS[best]
        part = f"{words}: {before.components[best]:.1f} {unit}, then {after.components[best]:.1f} {unit}"
        return f"{part} (measure: {before.total_db:.1f} dB, then {after.total_db:.1f} dB)"

    def rows(self) -> list[dict[str, Any]]:
        """The scene as it stands, each line, and the best together: components, the measure and what it takes."""
        rows = [_row("as it stands", "", "", self.now, "", "yes")]
        rows += [_row(one.words, one.kind, one.effort, one.measure, one.sure, _yes(one.full)) for one in self.lines]
        if self.together is not None:
            one = self.together
            rows.append(_row(one.words, one.kind, one.effort, one.measure, one.sure, _yes(one.full)))
        return rows

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {"line": ([one.words for one in self.lines], ""), "component": (list(COMPONENTS), "")}

    def _arrays(self) -> Mapping[str, Labelled]:
        found = [[one.measure.components[name] for name in COMPONENTS] for one in self.lines]
        return {
            "component_value": (("line", "component"), found, "dB; slope in dB per octave"),
            "measure_db": (("line",), [one.measure.total_db for one in self.lines], "dB"),
        }


def _yes(full: bool) -> str:
    return "yes" if full else "no"


def _row(words: str, kind: str, effort: str, measure: Measure, sure: str, edges: str) -> dict[str, Any]:
    units = {"slope": "slope_db_per_octave"}
    components = {units.get(name, f"{name}_db"): measure.components[name] for name in COMPONENTS}
    return {
        "what": words,
        "kind": kind,
        "effort": effort,
        "measure_db": measure.total_db,
        **components,
        "how_sure": sure,
        "edges_traced": edges,
    }


@dataclass(frozen=True, slots=True)
class _Tried:
    """One setting, screened."""

    setting: Setting
    measure: Measure | None
    reason: str


def advise(scene: AnyScene, report: Report = say_nothing) -> Advice:
    """Try what a person can do in a scene, and say what to do first.

    Parameters
    ----------
    scene
        The room.
    report
        Called with a few words at the start of each stage.

    Raises
    ------
    SceneError
        If the scene cannot be.
    """
    started = time.monotonic()
    read = read_scene(scene)
    report("tracing the scene as it stands")
    before = trace_scene(read, maps=False)
    now = measure_of(before)
    bare = measure_of(trace_scene(read, maps=False, edges=False))
    settings = settings_of(before)
    tried = []
    for number, setting in enumerate(settings, start=1):
        report(f"trying {number} of {len(settings)}: {setting.kind}")
        tried.append(_screened(read, setting, bare))
    best, impossible = _best_of_kinds(tried, bare)
    best.sort(key=lambda one: one[1])
    lines, traced = [], 0
    for one, total_db, steady in best:
        full = None
        if total_db < bare.total_db - 0.5 * SAME_DB and traced < TRACED_ALONE and _in_time(started):
            report(f"tracing with edges: {one.setting.words}")
            full, traced = _traced(read, (one.setting,)), traced + 1
        lines.append(_line((one.setting,), one.measure, bare, now, full, steady))
    first = _first_of(lines, now)
    report("trying the best together")
    together, after = _together(read, lines, bare, now, started, report)
    if after is None:
        after = before if first is None else _traced(read, first.settings)
    ordered = sorted(lines, key=_order)
    return Advice(
        read, now, first, tuple(ordered), together, tuple(impossible), _remains(after, measure_of(after)), before, after
    )


def _in_time(started: float) -> bool:
    return time.monotonic() - started < TIME_S


def _places(settings: Sequence[Setting]) -> list[tuple[str | int, ...]]:
    return [place for setting in settings for place in setting.moved]


def _traced(scene: SceneFile, settings: Sequence[Setting], *, edges: bool = True) -> Results:
    return trace_scene(changed_scene(scene, settings), maps=False, edges=edges)


def _screened(scene: SceneFile, setting: Setting, bare: Measure) -> _Tried:
    """One setting without edges; what hurts anew makes it impossible."""
    try:
        measure = measure_of(_traced(scene, (setting,), edges=False), setting.moved)
    except SceneError as fault:
        return _Tried(setting, None, f"{fault.where}: {fault.found}")
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
    """One line: against the scene traced alike, with edges or without."""
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
    return words if full else f"{words}; edges not traced"


def _first_of(lines: Sequence[Line], now: Measure) -> Line | None:
    """The least effort that is better by more than the uncertainty; what hurts now comes before.

    Of lines of one effort whose gains are the same, that with least that gets worse, then the best.
    """
    cures = [one for one in lines if len(one.measure.hindrances) < len(now.hindrances)]
    better = cures or [one for one in lines if one.verdict == "better" and one.full]
    least = min((EFFORTS.index(one.effort) for one in better), default=0)
    mine = [one for one in better if EFFORTS.index(one.effort) == least]
    most = max((one.gain_db for one in mine), default=0.0)
    equal = [one for one in mine if most - one.gain_db < SAME_DB]
    return min(equal, key=lambda one: (len(one.worse), -one.gain_db), default=None)


def _order(line: Line) -> tuple[int, int, float]:
    return (("better", "the same", "worse").index(line.verdict), EFFORTS.index(line.effort), -line.gain_db)


def _together(
    scene: SceneFile, lines: Sequence[Line], bare: Measure, now: Measure, started: float, report: Report
) -> tuple[Line | None, Results | None]:
    """The best with one or two more, each step the one that adds most without edges; traced with them at the end."""
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
    report("tracing the best together with edges")
    after = _traced(scene, chosen)
    return _line(tuple(chosen), measure, bare, now, after, True), after


def _both(scene: SceneFile, settings: Sequence[Setting], bare: Measure) -> Measure | None:
    try:
        measure = measure_of(_traced(scene, settings, edges=False), _places(settings))
    except SceneError:
        return None
    return None if set(measure.hindrances) - set(bare.hindrances) else measure


def _remains(after: Results, measure: Measure) -> str:
    """The strongest reflection that is left, and how far the octaves are above the target."""
    ear, target = after.stage.listener_names[0], after.scene.blueprint.target
    left = [one for one in after.responses.arrivals if one.listener == ear and one.number == 1]
    if not left:
        return "Nothing remains."
    worst = max(left, key=lambda one: one.worst_db)
    if worst.worst_db <= target.level_db:
        return f"All single reflections are then below the target of {target.level_db:g} dB."
    return (
        f"What remains: {worst.way}, {worst.worst_db:.1f} dB at {worst.main.delay_ms:.1f} ms, "
        f"{worst.worst_db - target.level_db:.1f} dB above the target."
    )
