"""Tables of a tolerance study: ranges of reflections, where points may lie, sensitivities, and every sample.

UTF-8, comma separated; an empty cell means that there is nothing to say.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np

from sim.showing.numbers import number_cell, write_table
from sim.studies.tolerance.advice import sensitivities
from sim.studies.tolerance.findings import Spread, blobs, reflection_ranges
from sim.studies.tolerance.text import blob_on_tape
from sim.studies.tolerance.tolerance import Tolerance


def write_tolerance_tables(found: Tolerance, folder: Path) -> None:
    """Write reflections.csv, points.csv, sensitivity.csv and samples.csv.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    _write(folder / "reflections.csv", _reflections(found))
    _write(folder / "points.csv", _points(found))
    _write(folder / "sensitivity.csv", _sensitivity(found))
    _write(folder / "samples.csv", _samples(found))


def _write(path: Path, rows: Iterable[list[str]]) -> None:
    headings, *others = rows
    write_table(path, headings, others)


def _reflections(found: Tolerance) -> Iterable[list[str]]:
    ends = ("as_written", "5_percent", "median", "95_percent")
    keys = ["level_db", *(f"level_{hz:g}_hz_db" for hz in found.bands.nominal_hz), "delay_ms"]
    yield ["loudspeaker", "surface", "reaches_fraction", *(f"{key}_{end}" for key in keys for end in ends)]
    for row in reflection_ranges(found):
        cells = [row.loudspeaker, row.surface, f"{row.reaches:.4f}"]
        for spread, decimals in ((row.level, 2), *((each, 2) for each in row.levels), (row.delay_ms, 4)):
            cells += _cells(spread, decimals)
        yield cells


def _points(found: Tolerance) -> Iterable[list[str]]:
    yield [
        "loudspeaker",
        "driver",
        "surface",
        "reaches_fraction",
        "from_front_m",
        "from_left_m",
        "up_m",
        "first_tape_m",
        "first_tape_reach_m",
        "first_from",
        "second_tape_m",
        "second_tape_reach_m",
        "second_from",
        "half_axis_long_m",
        "half_axis_short_m",
    ]
    for blob in blobs(found):
        first, first_off, first_from, second, second_off, second_from = blob_on_tape(found, blob)
        yield [
            blob.loudspeaker,
            blob.driver,
            blob.surface,
            f"{blob.reaches:.4f}",
            *(number_cell(x, 4) for x in blob.middle),
            number_cell(first, 4),
            number_cell(first_off, 4),
            first_from,
            number_cell(second, 4),
            number_cell(second_off, 4),
            second_from,
            *(number_cell(float(np.linalg.norm(half)), 4) for half in blob.half_axes),
        ]


def _sensitivity(found: Tolerance) -> Iterable[list[str]]:
    """A row for each figure and doubt that makes 1 % of its variance or more."""
    yield [
        "figure",
        "loudspeaker",
        "driver",
        "surface",
        "standard_deviation",
        "linear_fit_explains",
        "uncertainty",
        "kind",
        "fraction_of_variance",
        "change_for_one_standard_deviation",
    ]
    for figure in sensitivities(found):
        fractions = figure.fractions
        order = np.argsort(-np.nan_to_num(fractions.fraction))
        for number in order[np.nan_to_num(fractions.fraction[order]) >= 0.01]:
            uncertainty = found.uncertainties[number]
            yield [
                figure.kind,
                figure.loudspeaker,
                figure.driver,
                figure.surface,
                number_cell(figure.deviation, 5),
                number_cell(fractions.explained, 3),
                uncertainty.name,
                uncertainty.kind,
                number_cell(float(fractions.fraction[number]), 3),
                number_cell(float(fractions.slope[number]), 5),
            ]


def _samples(found: Tolerance) -> Iterable[list[str]]:
    """What was drawn, in metres or shares of what is allowed, and the main figures; only samples that are possible."""
    keys = [f"{key} {name}" for key in ("early_db", "over_target_db") for name in found.loudspeakers]
    yield [
        *(f"{uncertainty.name}{'_m' if _is_length(uncertainty.kind) else ''}" for uncertainty in found.uncertainties),
        *keys,
    ]
    for offsets, early, over in zip(
        found.offsets, found.early_db(found.figures), found.figures.over_target_db, strict=True
    ):
        yield [*(f"{offset:.6g}" for offset in offsets), *(number_cell(float(level), 3) for level in (*early, *over))]


def _is_length(kind: str) -> bool:
    return kind in ("tape", "placement", "head")


def _cells(spread: Spread, decimals: int) -> list[str]:
    return [number_cell(value, decimals) for value in (spread.nominal, spread.low, spread.middle, spread.high)]
