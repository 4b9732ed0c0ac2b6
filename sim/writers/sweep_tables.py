"""Tables of a sweep: one row for each layout, and the long one with a row for each layout, loudspeaker and surface.

Written a few layouts at a time, so that memory does not grow with their number.  UTF-8, comma separated; an empty cell
means that there is nothing to say.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

from ..acoustics.decibels import SILENCE_DB
from ..studies.sweep_records import DONE, IMPOSSIBLE, OPEN, Axis, Sweep
from .cells import number_cell, write_table, yes_cell

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
        told = np.isfinite(layout.clear_m).any(axis=1) | (layout.worst_db > SILENCE_DB)
        for s, f in np.argwhere(told):
            clear = layout.clear_m[s, :, f]
            d = int(np.argmax(np.nan_to_num(clear, nan=-np.inf)))
            yield [
                *values, plan.loudspeakers[s], plan.surfaces[f], plan.drivers[s][d],
                number_cell(layout.worst_db[s, f], 2), *(number_cell(level, 2) for level in layout.level_db[s, f]),
                number_cell(layout.delay_ms[s, f], 4), number_cell(clear[d], 4), yes_cell(layout.hidden[s, d, f]),
            ]  # fmt: skip


def _short_rows(sweep: Sweep) -> Iterator[list[str]]:
    plan = sweep.plan
    for point in range(plan.points):
        state = int(sweep.state[point])
        early, over = sweep.figures.early_db[point], sweep.figures.over_target_db[point]
        numbers = [number_cell(level, 2) for level in (*early, *over)]
        sides = number_cell(float(early[0] - early[-1]), 2) if len(early) > 1 and state == DONE else ""
        if state != DONE:
            numbers = [""] * len(numbers)
        yield [
            str(point), *_values(sweep, point), STATES[state], *numbers, sides, sweep.reasons.get(point, "")
        ]  # fmt: skip
