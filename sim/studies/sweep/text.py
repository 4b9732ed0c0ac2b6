"""A sweep in words and as tables: the best settings as a range, where reflections appear and leave.

Written a few layouts at a time, so that memory does not grow with their number.  UTF-8, comma separated; an empty cell
means that there is nothing to say.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.layouts.fields import Field
from sim.layouts.plan import SweepTask
from sim.layouts.records import DONE, EQUAL_DB, IMPOSSIBLE, OPEN, Axis, Region, Sweep, merit_db
from sim.showing.numbers import (
    db_change,
    db_words,
    format_length,
    hertz_range,
    joined,
    number_cell,
    write_table,
    yes_cell,
)
from sim.studies.sweep.findings import Findings, Stubborn, Threshold

STATES = {OPEN: "not worked out", DONE: "done", IMPOSSIBLE: "impossible"}
UNIT_ENDING = {"degrees": "_deg", "": ""}


def write_sweep(sweep: Sweep, path: Path) -> None:
    """Write sweep.csv: a row for each layout, loudspeaker and surface that mirrors, nearly mirrors or is hidden there.

    clear_m and hidden are those of the driver whose point lies furthest inside the surface.  A surface on which no
    driver of a layout has a point has no row.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    plan = sweep.plan
    octaves = [f"level_{hz:g}_hz_db" for hz in plan.bands.nominal_hz]
    headings = ["point", *_headings(plan.axes), "loudspeaker", "surface", "driver", "worst_db", *octaves]
    write_table(path, [*headings, "delay_ms", "clear_m", "hidden"], _long_rows(sweep))


def write_sweep_summary(sweep: Sweep, path: Path) -> None:
    """Write sweep_summary.csv: a row for each layout, impossible ones with their reason.

    left_right_db is the early level of the first loudspeaker less that of the last.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    plan = sweep.plan
    figures = [f"{key} {name}" for key in ("early_db", "over_target_db") for name in plan.loudspeakers]
    headings = ["point", *_headings(plan.axes), "state", *figures, "left_right_db", "reason"]
    write_table(path, headings, _short_rows(sweep))


def _headings(axes: Iterable[Axis]) -> list[str]:
    return [f"{axis.field}{UNIT_ENDING.get(axis.unit, f'_{axis.unit}')}" for axis in axes]


def _values(sweep: Sweep, point: int) -> list[str]:
    pairs = zip(sweep.plan.axes, sweep.plan.values(point), strict=True)
    return [f"{round(float(axis.in_unit(value)), 6) + 0.0:g}" for axis, value in pairs]


def _long_rows(sweep: Sweep) -> Iterator[list[str]]:
    plan = sweep.plan
    for point in np.flatnonzero(sweep.state == DONE):
        values = [str(point), *_values(sweep, int(point))]
        layout = sweep.layout(int(point))
        reported = np.isfinite(layout.clear_m).any(axis=1) | (layout.worst_db > SILENCE_DB)
        for s, f in np.argwhere(reported):
            clear = layout.clear_m[s, :, f]
            d = int(np.argmax(np.nan_to_num(clear, nan=-np.inf)))
            yield [
                *values,
                plan.loudspeakers[s],
                plan.surfaces[f],
                plan.drivers[s][d],
                number_cell(layout.worst_db[s, f], 2),
                *(number_cell(level, 2) for level in layout.level_db[s, f]),
                number_cell(layout.delay_ms[s, f], 4),
                number_cell(clear[d], 4),
                yes_cell(layout.hidden[s, d, f]),
            ]


def _short_rows(sweep: Sweep) -> Iterator[list[str]]:
    plan = sweep.plan
    for point in range(plan.points):
        state = int(sweep.state[point])
        early, over = sweep.figures.early_db[point], sweep.figures.over_target_db[point]
        numbers = [number_cell(level, 2) for level in (*early, *over)]
        sides = number_cell(float(early[0] - early[-1]), 2) if len(early) > 1 and state == DONE else ""
        if state != DONE:
            numbers = [""] * len(numbers)
        yield [str(point), *_values(sweep, point), STATES[state], *numbers, sides, sweep.reasons.get(point, "")]


# A sweep in words: the best settings as a range, where reflections appear and leave, and what nothing helps.

MOST_REGIONS: Final = 3
MOST_THRESHOLDS: Final = 16
MOST_STUBBORN: Final = 5
MOST_REASONS: Final = 3
TURNED: Final = {"tilt_deg": "Tilting", "toe_in_deg": "Toeing in", "roll": "Rolling", "turn_deg": "Turning"}


def sweep_lines(sweep: Sweep, task: SweepTask, found: Findings) -> list[str]:
    """Return the lines of sweep.txt."""
    plan = sweep.plan
    counts = {state: int((sweep.state == state).sum()) for state in (OPEN, DONE, IMPOSSIBLE)}
    lines = [f"Sweep: {plan.title}", ""]
    for axis in plan.axes:
        low, high = float(axis.values.min()), float(axis.values.max())
        lines.append(f"  {axis.words}: {len(axis.values)} values from {axis.written(low)} to {axis.written(high)}")
    together = ", side by side" if plan.together and len(plan.axes) > 1 else ""
    lines.append(f"  {plan.points} layouts{together}, first reflections off flat surfaces only")
    if counts[OPEN]:
        lines.append(f"  {counts[OPEN]} of them are not worked out yet; give the same command again to continue")
    if counts[IMPOSSIBLE]:
        lines += ["", f"Impossible: {counts[IMPOSSIBLE]} of {plan.points}", *_reasons(sweep)]
    if found.best < 0:
        return [*lines, "", "None of the layouts is possible." if not counts[OPEN] else "No layout is known yet."]
    lines += ["", "Best settings", *_best(sweep, found)]
    lines += ["", "Where reflections appear and leave", *_thresholds(sweep, found)]
    stubborn = list(_stubborn(sweep, task, found))
    if stubborn:
        lines += ["", "What stays", *stubborn]
    if found.limits:
        lines += ["", "Limits"]
        for limit in found.limits:
            axis = plan.axes[limit.axis]
            lines.append(f"  {axis.field} = {axis.written(limit.value)}: {limit.words}")
    return lines


def _reasons(sweep: Sweep) -> Iterator[str]:
    """The first impossible layouts with different reasons."""
    seen: set[str] = set()
    for point in sorted(sweep.reasons):
        where = sweep.reasons[point].split(":")[0]
        if where not in seen and len(seen) < MOST_REASONS:
            seen.add(where)
            yield f"  {setting(sweep, point)}: {sweep.reasons[point]}"
    if len(sweep.reasons) > len(seen):
        yield f"  and {len(sweep.reasons) - len(seen)} more; sweep_summary.csv has all reasons"


def setting(sweep: Sweep, point: int) -> str:
    """One point in words: "left.tilt = 4 degrees, ear.up = 1.2 m"."""
    values = sweep.plan.values(point)
    return ", ".join(
        f"{axis.field} = {axis.written(value)}" for axis, value in zip(sweep.plan.axes, values, strict=True)
    )


def _best(sweep: Sweep, found: Findings) -> Iterator[str]:
    plan, best = sweep.plan, found.best
    merit = merit_db(sweep)
    yield (
        f"  judged by the energy of all first reflections from {plan.target.window_ms[0]:g} to "
        f"{plan.target.window_ms[1]:g} ms, mean of the octaves "
        f"{hertz_range(*plan.target.band_hz)}, of the louder monitor;"
    )
    yield f"  all within {EQUAL_DB:g} dB of the best ({db_words(float(merit[best]))}) are called equal:"
    for number, region in enumerate(found.regions[:MOST_REGIONS]):
        yield f"  {'or ' if number else ''}{_region(plan.axes, region)}"
    if len(found.regions) > MOST_REGIONS:
        yield f"  and {len(found.regions) - MOST_REGIONS} smaller regions"
    over = float(sweep.figures.over_target_db[best].max())
    target = f"the target of {plan.target.level_db:g} dB"
    met = f"{db_change(over)} over {target}" if over > 0.0 else f"{db_change(over)} below {target}"
    yield f"  the strongest single reflection there is {met if np.isfinite(over) else 'none: no first reflection'}"
    if found.now is not None:
        yield f"  the scene as it stands: {db_words(float(found.now.early_db.max()))}"
    if found.regions and found.regions[0].points == int((sweep.state == DONE).sum()):
        yield f"  Nothing here makes a difference: all layouts that are possible lie within {EQUAL_DB:g} dB."
    elif not found.helps:
        yield f"  Nothing in this range helps: no setting is better by more than {EQUAL_DB:g} dB than the scene now."


def _region(axes: Sequence[Axis], region: Region) -> str:
    parts = []
    for axis, (low, high), ends in zip(axes, region.ranges, region.ends, strict=True):
        if all(ends) and len(axis.values) > 1:
            parts.append(f"{axis.field} anywhere from {axis.written(low)} to {axis.written(high)}")
            continue
        reported = axis.written(low) if low == high else f"from {axis.written(low)} to {axis.written(high)}"
        beyond = ", an end of its range: look beyond it" if any(ends) and len(axis.values) > 2 else ""
        parts.append(f"{axis.field} {'= ' if low == high else ''}{reported}{beyond}")
    count = f"{region.points} setting{'s' if region.points > 1 else ''}"
    return f"{'; '.join(parts)}: {count}" + ("" if region.full else ", not every combination inside")


def _thresholds(sweep: Sweep, found: Findings) -> list[str]:
    """One line for what happens at one setting on one surface, loudspeakers and drivers together."""
    axes = sweep.plan.axes
    if sweep.plan.together and len(axes) > 1:
        return ["  not worked out for fields that run side by side"]
    groups: dict[tuple[int, str, bool, float], list[Threshold]] = {}
    for one in found.thresholds:
        near = (key for key in groups if key[:3] == (one.axis, one.surface, one.appears))
        same = next((key for key in near if abs(key[3] - one.value) <= _grain(axes[one.axis])), None)
        groups.setdefault(same or (one.axis, one.surface, one.appears, one.value), []).append(one)
    lines = []
    for (number, surface, appears, value), members in list(groups.items())[:MOST_THRESHOLDS]:
        axis = axes[number]
        drivers = joined(list(dict.fromkeys(one.driver for one in members)))
        names = joined(list(dict.fromkeys(one.loudspeaker for one in members)))
        happens = "appears" if appears else "leaves"
        lines.append(
            f"  {axis.field} = {fine_setting(axis, value)}: the {drivers} of {names} {happens} on the {surface}"
            f" ({db_words(members[0].level_db)} next to it)"
        )
    if len(groups) > MOST_THRESHOLDS:
        lines.append(f"  and {len(groups) - MOST_THRESHOLDS} weaker ones")
    if len(axes) > 1 and lines:
        lines.insert(0, f"  along each field, the others at {setting(sweep, found.best)}")
    return lines or ["  none does: every first reflection is there all along, or never"]


def _grain(axis: Axis) -> float:
    """Settings nearer than this are one: half a millimetre, a twentieth of a degree."""
    return 0.05 if axis.unit in ("degrees", "") else 5.0e-4


def fine_setting(axis: Axis, value: float) -> str:
    """Write a setting that was narrowed down: to the finest mark of a tape or a tenth of a degree."""
    if axis.unit == "degrees":
        return f"{value + 0.0:.1f} degrees"
    return f"{value:.4g}" if axis.unit == "" else format_length(value, axis.unit)


def _stubborn(sweep: Sweep, task: SweepTask, found: Findings) -> Iterator[str]:
    """What a piece that varies keeps mirroring, else the loudest of what is always there; then the others in short."""
    own = [one for one in found.stubborn if _is_own(task.fields[one.axis], one)]
    reported = own or list(found.stubborn[:1])
    for one in reported[:MOST_STUBBORN]:
        yield f"  {cleared_by(task.fields[one.axis], sweep.plan.axes[one.axis], task, one)}"
    others = [f"{one.surface} ({db_words(one.most_db)})" for one in found.stubborn if one not in reported][
        :MOST_STUBBORN
    ]
    if others:
        yield f"  In every layout there too: {joined(others)}."


def _is_own(field: Field, one: Stubborn) -> bool:
    """Whether a surface belongs to the piece of furniture that a field varies."""
    return field.places[0][0] == "furniture" and one.surface.startswith(f"{field.name.rpartition('.')[0]} ")


def cleared_by(field: Field, axis: Axis, task: SweepTask, one: Stubborn) -> str:
    """Say that no setting clears a reflection: "Tilting this desk by up to 15 degrees does not clear the point"."""
    own = _is_own(field, one)
    thing, key = field.name.rpartition(".")[0], field.places[0][-1]
    what = f"this {thing}" if field.places[0][0] == "furniture" else thing
    if len(field.places) > 1:
        what += f" and {task.blueprint.loudspeakers[int(field.places[1][1])].name}"
    if key in TURNED:
        furthest = float(np.abs(axis.values).max())
        does = f"{TURNED[str(key)]} {what} by up to {axis.written(furthest)}"
    else:
        low, high = float(axis.values.min()), float(axis.values.max())
        does = f"{axis.field} anywhere from {axis.written(low)} to {axis.written(high)}"
    where = "the point" if own else f"the point on the {one.surface}"
    levels = f"{db_words(one.least_db)} to {db_words(one.most_db)}"
    mirror = f"the {one.surface} reflects" if own else "it reflects"
    return f"{does} does not clear {where}: {mirror} {joined(list(one.loudspeakers))} throughout, {levels}."
