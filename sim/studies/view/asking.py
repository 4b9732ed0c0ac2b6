"""What pages may ask of a setting at rest: why a peak or dip is there, what a panel is worth, how variants compare."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.reader import SceneFile, read_scene
from sim.blueprint.scene_folders import same_floor_plan
from sim.errors import BounceplanError, SceneError
from sim.pipeline import trace_scene
from sim.progress import Report
from sim.responses.measure import COMPONENTS, SAME_DB, Measure, changes_between, measure_of, verdict_of
from sim.responses.records import Arrival, Results
from sim.showing.archive.kept_traces import keep_trace, trace_kept
from sim.showing.numbers import hertz, joined
from sim.showing.viewpoint import path_points
from sim.studies.explain.measured import candidates
from sim.studies.explain.question import explain
from sim.studies.saving import answer_lines
from sim.studies.view.snapshot import key_of

HALF_THIRD: Final = 2.0 ** (1.0 / 6.0)
REMOVES: Final = "What would remove it"
"""The heading in the words of `explain` below which that stands."""


@dataclass(frozen=True, slots=True)
class Ask:
    """A question about a setting.

    Attributes
    ----------
    number
        Of the setting; it is answered as long as that is the newest.
    kind
        "why", "dip", "worth", "compare" or "keep".
    about
        What exactly: see the functions here.
    page
        Who asked.
    """

    number: int
    kind: str
    about: Mapping[str, Any]
    page: str = ""


@dataclass(frozen=True, slots=True)
class Reply:
    """What pages are told in answer: a text of its own kind, or how far the work is."""

    number: int
    message: Mapping[str, Any]


@dataclass
class Known:
    """What was worked out for questions before, as long as nothing of it changed.

    Attributes
    ----------
    measures
        Of scene files, by path, time of change and size.
    without
        Of the setting `number` without one panel or a pair, by their names.
    """

    measures: dict[tuple[str, int, int], Measure] = field(default_factory=dict)
    without: dict[tuple[int, str], Measure] = field(default_factory=dict)


def answered(ask: Ask, results: Results, known: Known, report: Report) -> dict[str, Any]:
    """Answer a question about a traced setting; `report` may raise to end it.

    Raises
    ------
    BounceplanError
        If there is nothing to say, in one sentence.
    """
    answer: Callable[[], dict[str, Any]] = {
        "why": lambda: why_peak(results, str(ask.about.get("key", "")), report),
        "dip": lambda: why_dip(results, str(ask.about.get("speaker", "")), float(ask.about.get("hz", 0.0)), report),
        "worth": lambda: panel_worth(ask, results, known, report),
        "compare": lambda: compared(ask, results, known, report),
        "keep": lambda: kept_for_saving(results),
    }[ask.kind]
    return {"kind": ask.kind, "page": ask.page, "number": ask.number, **answer()}


def kept_for_saving(results: Results) -> dict[str, Any]:
    """Keep the trace for the commands that are about to save the setting: they read it back."""
    keep_trace(results)
    return {}


# Why a peak or a dip is there, in the sentences of `explain`.


def why_peak(results: Results, key: str, report: Report) -> dict[str, Any]:
    """Explain the reflection of a key (see `key_of`)."""
    ear = results.built.listener_names[0]
    mine = [one for one in results.responses.arrivals if one.listener == ear and one.order and key_of(one) == key]
    if not mine:
        raise SceneError("reflection", "it is not there any more", "choose another")
    arrival = min(mine, key=lambda one: one.number)
    return _explained(results, arrival, report)


def _explained(results: Results, arrival: Arrival, report: Report) -> dict[str, Any]:
    told = answer_lines(
        explain(results, arrival.number, report, loudspeaker=arrival.loudspeaker, listener=arrival.listener)
    )
    title, lines = told[1], told[3:]  # the page says the scene itself
    return {"title": title, "lines": _removal_first(lines), "path": _path(results, arrival)}


def _removal_first(lines: Sequence[str]) -> list[str]:
    """The same lines with the sentence that sums up and what would remove it before everything else."""
    if REMOVES not in lines:
        return list(lines)
    start = lines.index(REMOVES)
    end = next((n for n in range(start, len(lines)) if not lines[n]), len(lines))
    return [*lines[:2], *lines[start:end], "", *lines[2:start], *lines[end + 1 :]]


def _path(results: Results, arrival: Arrival) -> dict[str, Any]:
    names = [one.name for one in results.built.loudspeakers]
    return {
        "speaker": names.index(arrival.loudspeaker),
        "key": key_of(arrival),
        "via": arrival.via,
        "delay": round(arrival.main.delay_ms, 2),
        "worst": round(max(arrival.worst_db, -120.0), 1),
        "order": arrival.order,
        "diffracted": arrival.diffracted,
        "points": np.round(path_points(results, arrival), 4).tolist(),
    }


def why_dip(results: Results, loudspeaker: str, near_hz: float, report: Report) -> dict[str, Any]:
    """Say what makes the dip of the response at the ear in the third-octave round a frequency."""
    mine = [
        notch
        for notch in results.responses.notches
        if notch.loudspeaker == loudspeaker
        and notch.listener == results.built.listener_names[0]
        and notch.present
        and near_hz / HALF_THIRD <= notch.frequency_hz <= near_hz * HALF_THIRD
    ]
    deepest = max(mine, key=lambda one: one.depth_db, default=None)
    hz = near_hz if deepest is None else round(deepest.frequency_hz)
    found = candidates(results, hz=hz, loudspeaker=loudspeaker)
    lines = answer_lines(found)[2:]
    lines = lines[: next((n for n, line in enumerate(lines) if line.startswith("More on it:")), len(lines))]
    told: dict[str, Any] = {"title": f"{loudspeaker}: dip at {hertz(hz)}", "lines": [*lines]}
    first = next((one for one in found.found if one.number), None)
    if first is not None:
        arrival = next(
            one
            for one in results.responses.arrivals
            if (one.loudspeaker, one.listener, one.number) == (first.loudspeaker, first.listener, first.number)
        )
        more = _explained(results, arrival, report)
        told |= {"path": more["path"], "lines": [*lines, "", f"{more['title']}:", *more["lines"]]}
    return told


# What a panel brings: the same setting traced without it, judged by the one measure.


def panel_worth(ask: Ask, results: Results, known: Known, report: Report) -> dict[str, Any]:
    """Hold the setting against itself without one panel, or a pair; `about` names them."""
    names = [str(one) for one in ask.about["names"]]
    name, scene = " and ".join(names), results.scene
    left = tuple(one for one in scene.blueprint.panels if one.name not in names)
    if len(left) != len(scene.blueprint.panels) - len(names):
        raise SceneError(name[:80] or "panel", "there is no panel of this name", "choose one of those that hang")
    if (ask.number, name) not in known.without:
        bare = replace(scene, blueprint=scene.blueprint.model_copy(update={"panels": left}))
        known.without.clear()
        known.without[ask.number, name] = measure_of(trace_scene(bare, report, maps=False))
    before, after = known.without[ask.number, name], measure_of(results)
    return {"name": name, "words": worth_words(name, before, after), **_octaves(before, after)}


def worth_words(name: str, before: Measure, after: Measure) -> str:
    """What a panel is worth in a sentence or two: the measure without and with it, and what it makes worse."""
    changes = changes_between(before, after)
    verdict = changes[0].verdict
    less, it = before.total_db - after.total_db, "them" if " and " in name else "it"
    told = {
        "better": f"{name}: worth {less:.1f} dB of the measure ({before.total_db:.1f} dB without {it}, "
        f"{after.total_db:.1f} dB with {it}).",
        "worse": f"{name}: worse by {-less:.1f} dB of the measure ({before.total_db:.1f} dB without {it}, "
        f"{after.total_db:.1f} dB with {it}).",
        "the same": f"{name}: the same with and without {it}, less than {SAME_DB:g} dB of the measure.",
    }[verdict]
    other = [
        one.words.rstrip(".") for one in changes[1:] if one.verdict == ("better" if verdict == "worse" else "worse")
    ]
    word = "Better" if verdict == "worse" else "Worse"
    return f"{told} {word}: {'; '.join(other)}." if other else told


def _octaves(before: Measure, after: Measure) -> dict[str, Any]:
    """What it takes off early reflections above the target, octave by octave, mean of the monitors in dB."""
    taken: FloatArray = (before.early_over_target_db - after.early_over_target_db).mean(axis=0)
    return {
        "octaves": [hertz(float(hz)) for hz in before.octaves_hz],
        "taken": [round(float(one), 1) + 0.0 for one in taken],
    }


# Variants against the file that was opened, by the one measure.


def compared(ask: Ask, results: Results, known: Known, report: Report) -> dict[str, Any]:
    """Judge scene files of a folder and the setting itself; `about` holds the paths, the file that was opened first."""
    files = [Path(one) for one in ask.about["files"]]
    rows: list[dict[str, Any]] = []
    first: Measure | None = None
    for number, path in enumerate(files, start=1):
        report(f"judging {path.name}, {number} of {len(files)}")
        try:
            measure = _measured(path, results.scene, known, report)
        except BounceplanError as fault:
            rows.append({"name": path.name, "fault": str(fault)})
            continue
        first = first or measure
        rows.append(compared_row(path.name, measure, first))
    here = measure_of(results)
    rows.insert(min(1, len(rows)), compared_row("as it stands here", here, first or here))
    return {"rows": rows, "heads": compared_heads(), "same": SAME_DB}


def _measured(path: Path, here: SceneFile, known: Known, report: Report) -> Measure:
    try:
        found = path.stat()
    except OSError as fault:
        raise SceneError(path.name, f"it cannot be read ({fault.strerror})", "look whether it is there") from None
    key = (str(path), found.st_mtime_ns, found.st_size)
    if key not in known.measures:
        read = read_scene(path)
        if not same_floor_plan(here, read):
            raise SceneError(path.name, "it is of another floor plan", "move it into a folder of its own")
        known.measures[key] = measure_of(trace_kept(read, report))
    return known.measures[key]


def compared_heads() -> list[str]:
    """Headings of the table: the measure, then its components, each with its unit."""
    return ["measure, dB", *(f"{words}, {unit}" for words, unit in COMPONENTS.values())]


def compared_row(name: str, measure: Measure, first: Measure) -> dict[str, Any]:
    """One row: values, and of each whether it is better, worse or the same as in the first row."""
    changes = changes_between(first, measure)
    verdicts = {change.name: change.verdict for change in changes}
    values = [measure.total_db, *(measure.components[key] for key in COMPONENTS)]
    judged = [verdicts["total"], *(verdicts[key] for key in COMPONENTS)]
    own = measure is first
    better, worse = ([change.words for change in changes[1:] if change.verdict == kind] for kind in ("better", "worse"))
    return {
        "name": name,
        "values": [round(float(value), 1) for value in values],
        "verdicts": ["" if own else one for one in judged],
        "words": [
            *(f"better: {words}" for words in better),
            *(f"worse: {words}" for words in worse),
        ],
        "hurts": f"STOP, settle first: {joined(list(measure.hindrances))}" if measure.hindrances else "",
        "verdict": "" if own else verdict_of(first.total_db, measure.total_db),
    }
