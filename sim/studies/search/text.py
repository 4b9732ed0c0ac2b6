"""What a search found: in words, as a table, and as scene files that other commands take."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.blueprint.reader import SCENE_NAME
from sim.blueprint.writing import copy_named_files, to_toml
from sim.errors import OutputError
from sim.layouts.records import EQUAL_DB, Axis
from sim.machine.whole_files import write_whole
from sim.responses.measure import COMPONENTS, SAME_DB, changes_between, component_words, verdict_of
from sim.showing.numbers import db_change, db_words, write_table
from sim.studies.search.appearing import set_within
from sim.studies.search.niches import APART, HUMP_DB, WORTH_DB
from sim.studies.search.search import FoundLayout, Search
from sim.studies.search.trials import Range

BEYOND: Final = {
    "end": "where the range ends",
    "worse": "worse beyond",
    "limit": "a limit beyond",
    "impossible": "impossible beyond",
}
SLOPE: Final = "slope_db_per_octave"
LIMIT_WORDS: Final = {
    "sight": "a driver not seen from the seat, or only just",
    "triangle": "monitors too close together or too far apart for the seat",
    "tilt": "more tilt than a cabinet without a strap may have",
    "reach": "the desk out of reach, or too near",
    "stand": "a cabinet that tips too easily",
}


def layout_name(number: int) -> str:
    """Name of a layout's folder, counted from 0: "layout-1"."""
    return f"layout-{number + 1}"


def search_lines(search: Search) -> list[str]:
    """Return the lines of search.txt."""
    plan = search.task.plan
    lines = [f"Search: {plan.title}", ""]
    for axis in plan.axes:
        lines.append(f"  {axis.words}: from {axis.written(axis.values[0])} to {axis.written(axis.values[1])}")
    counts = f"{search.tried} layouts tried, {search.impossible} of them impossible, {search.broken} beyond a limit"
    lines += [
        f"  {counts}; seed {search.seed}",
        "",
        "Judged by the measure of docs/explanation/better.md, less is better;",
    ]
    lines.append(f"  layouts whose measures differ by less than {SAME_DB:g} dB are equal: let effort decide.")
    lines += ["", "The scene as it stands", *_now(search)]
    if not search.layouts:
        lines += ["", "No layout in these ranges is possible and keeps all limits.", *_obstacles(search)]
    elif search.flat:
        lines += ["", f"Nothing in these ranges matters by more than {EQUAL_DB:g} dB: choose by other reasons."]
    for number, layout in enumerate(search.layouts):
        lines += ["", *_layout(search, number, layout)]
    if search.layouts and (search.impossible or search.broken):
        lines += ["", "What ruled layouts out", *_obstacles(search)]
    if search.not_judged:
        lines += ["", "Not judged", *(f"  {note}" for note in search.not_judged)]
    lines += ["", "How layouts were chosen"]
    lines += [
        f"  each differs from all others by {100 * APART:g} % of the range of a number that matters, and is within "
        f"{WORTH_DB:g} dB of the best;",
        f'  "on the slope of" means that nothing on the straight line there is worse by more than {HUMP_DB:g} dB.',
    ]
    return lines


def write_layouts(search: Search, path: Path) -> None:
    """Write layouts.csv: a row for each layout, the scene as it stands first.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    plan = search.task.plan
    headings = ["layout"]
    for axis in plan.axes:
        unit = {"degrees": "_deg", "": ""}.get(axis.unit, f"_{axis.unit}")
        headings += [f"{axis.field}{unit}", f"{axis.field}_from{unit}", f"{axis.field}_to{unit}"]
    headings += ["measure_db", *(f"{name}_db" if name != "slope" else SLOPE for name in COMPONENTS)]
    headings += ["equal_to_best", "slope_of"]
    headings += [f"{key} {name}" for key in ("early_db", "over_target_db") for name in plan.loudspeakers]
    rows = [_row(plan.axes, "as it stands", None, search)]
    rows += [_row(plan.axes, layout_name(n), layout, search) for n, layout in enumerate(search.layouts)]
    write_table(path, headings, rows)


def write_layout_scenes(search: Search, folder: Path) -> list[Path]:
    """Write each layout as a scene in a folder of its own, the files it names beside it; return the folders.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    made = []
    for number, layout in enumerate(search.layouts):
        home = folder / layout_name(number)
        blueprint = search.blueprint(layout)
        numbers = ", ".join(_settings(search, layout))
        blueprint = blueprint.model_copy(
            update={
                "title": f"{blueprint.title}: {layout_name(number)}",
                "notes": (*blueprint.notes, f"Found by a search: {numbers}."),
            }
        )
        reported = blueprint.model_fields_set | {"title", "notes"}
        blueprint.model_fields_set.update(reported)
        try:
            home.mkdir()
            copy_named_files(blueprint, search.task.folder, home)
        except OSError as fault:
            raise OutputError(f"{home} cannot be written ({fault.strerror}); choose another folder with -o.") from None
        write_whole(home / SCENE_NAME, to_toml(blueprint), "the scene")
        made.append(home)
    return made


def _now(search: Search) -> Iterator[str]:
    now = search.now
    if now.figures is None:
        yield f"  it is impossible: {now.reason}"
        return
    if search.measure is not None:
        yield from (f"  {words}" for words in component_words(search.measure))
    for limit in now.limits:
        if limit.broken:
            yield f"  beyond a limit: {limit.words}"


def _layout(search: Search, number: int, layout: FoundLayout) -> Iterator[str]:
    plan, trial = search.task.plan, layout.trial
    total_db, now = layout.measure.total_db, search.measure
    verdict = "" if now is None else verdict_of(now.total_db, total_db)
    against = {
        "": "",
        "the same": ", the same as the scene as it stands",
        "better": ", better than the scene as it stands",
        "worse": ", worse than the scene as it stands",
    }[verdict]
    rank = "" if not number else ", equal to layout-1" if layout.equal else ""
    slope = f", on the slope of {layout_name(layout.slope_of)}" if layout.slope_of >= 0 and not layout.equal else ""
    yield f"{layout_name(number)}: measure {total_db:.1f} dB{against}{rank}{slope}"
    yield from (f"  {words}" for words in component_words(layout.measure)[1:])
    yield from (f"  not as it should be: {words}" for words in layout.measure.hindrances)
    if now is not None:
        yield from (
            f"  gets worse: {one.words}" for one in changes_between(now, layout.measure)[1:] if one.verdict == "worse"
        )
    for axis, value, span in zip(plan.axes, trial.values, layout.ranges, strict=True):
        yield f"  {axis.field} = {axis.written(value)}; {_range(axis, span)}"
    figures = trial.figures
    assert figures is not None
    for s, name in enumerate(plan.loudspeakers):
        over = float(figures.over_target_db[s])
        reported = f"{db_change(over)} over" if over > 0.0 else f"{db_change(over)} below"
        strongest = next((one for one in layout.offenders if one.loudspeaker == name), None)
        if strongest is None:
            yield f"  {name}: no first reflection inside the window"
            continue
        yield (
            f"  {name}: all first reflections {db_words(float(figures.early_db[s]))}; the strongest, off the "
            f"{strongest.surface}, {db_words(strongest.level_db)} at {strongest.delay_ms:.1f} ms, is {reported} "
            "the target"
        )
    ends = [axis.field for axis, value in zip(plan.axes, trial.values, strict=True) if _at_end(axis, value)]
    if ends:
        yield f"  held back by: the range of {' and of '.join(ends)}; it may go on getting better beyond"
    for limit in trial.limits:
        yield f"  held back by: {limit.words}"
    for near in layout.appearing:
        axis = plan.axes[near.axis]
        yield (
            f"  next to an edge: at {axis.field} = {axis.written(near.value)} the {near.surface} reflects "
            f"{near.loudspeaker}, {db_words(near.level_db)}; set it more exactly than usual, or choose another"
        )
    for n, (axis, span) in enumerate(zip(plan.axes, layout.ranges, strict=True)):
        if span.high - span.low < 2.0 * set_within(search.task, n):
            yield f"  sharp: {axis.field} has less room than it can be set to, {axis.written(span.high - span.low)}"


def _range(axis: Axis, span: Range) -> str:
    """How far a number may move: from 1.2 m (worse beyond) to 1.4 m (where the range ends)."""
    if span.low_why == span.high_why == "end":
        return "it does not matter here"
    low, high = axis.written(span.low), axis.written(span.high)
    ends = f"{low} ({BEYOND[span.low_why]}) to {high} ({BEYOND[span.high_why]})"
    return f"not worse by more than {EQUAL_DB:g} dB from {ends}"


def _at_end(axis: Axis, value: float) -> bool:
    return bool(min(abs(axis.values - value)) < 1e-9)


def _settings(search: Search, layout: FoundLayout) -> list[str]:
    pairs = zip(search.task.plan.axes, layout.trial.values, strict=True)
    return [f"{axis.field} = {axis.written(value)}" for axis, value in pairs]


def _obstacles(search: Search) -> Iterator[str]:
    for words, count in search.obstacles:
        kind = words.removeprefix("limit: ")
        yield f"  {count} times: {LIMIT_WORDS.get(kind, words) if words != kind else words}"


def _row(axes: tuple[Axis, ...], name: str, layout: FoundLayout | None, search: Search) -> list[str]:
    trial = search.now if layout is None else layout.trial
    cells = [name]
    for n, axis in enumerate(axes):
        span = layout.ranges[n] if layout is not None else None
        values = [trial.values[n], *((span.low, span.high) if span is not None else (float("nan"),) * 2)]
        cells += ["" if not np.isfinite(value) else f"{float(axis.in_unit(value)):.6g}" for value in values]
    measure = search.measure if layout is None else layout.measure
    values_db = [] if measure is None else [measure.total_db, *(measure.components[name] for name in COMPONENTS)]
    cells += [f"{value:.2f}" for value in values_db] or [""] * (1 + len(COMPONENTS))
    slope = layout_name(layout.slope_of) if layout is not None and layout.slope_of >= 0 else ""
    cells += ["" if layout is None else "yes" if layout.equal else "no", slope]
    if trial.figures is None:
        return [*cells, *[""] * (2 * len(search.task.plan.loudspeakers))]
    levels = [*trial.figures.early_db, *trial.figures.over_target_db]
    return [*cells, *(f"{level:.2f}" if np.isfinite(level) and level > SILENCE_DB else "" for level in levels)]
