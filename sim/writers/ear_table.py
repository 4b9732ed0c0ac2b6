"""The table of responses at the ear: third-octave levels with everything, and with one thing at a time left out."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ..acoustics.decibels import SILENCE_DB
from ..errors import OutputError
from ..responses.results import Results

COLUMNS = (
    "loudspeaker", "listener", "driver", "without", "without_kind", "third_octave_hz", "level_db", "adds_db", "judged",
)  # fmt: skip
ALL_DRIVERS = "all"


def write_ear_response(results: Results, path: Path) -> None:
    """Write ear_response.csv: one row a loudspeaker, listener, driver, thing left out, and third-octave.

    Levels are re the direct sound of the whole loudspeaker in the same band.  Rows with an empty "without" hold the
    response with everything in place; "adds_db" is that level less the one of the row: what the thing adds.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            rows = csv.writer(file, lineterminator="\n")
            rows.writerow(COLUMNS)
            rows.writerows(_rows(results))
    except OSError as fault:
        raise OutputError(
            f"{path}: the table cannot be written ({fault.strerror}); choose a folder that may be written to."
        ) from None


def _rows(results: Results) -> Iterator[list[str]]:
    stage, levels = results.stage, results.responses.response.levels
    judged = levels.bands.lower_hz >= results.responses.transition_hz
    for s, loudspeaker in enumerate(stage.loudspeakers):
        for place, listener in enumerate(stage.listener_names):
            tables = [(ALL_DRIVERS, levels.whole_db[s, place])]
            tables += [
                (driver.name, levels.driver_db[s, d, place]) for d, driver in enumerate(loudspeaker.model.drivers)
            ]
            for driver_name, table in tables:
                for case, (kind, name) in enumerate(zip(levels.kinds, levels.without, strict=True)):
                    for band, nominal_hz in enumerate(levels.bands.nominal_hz):
                        level, whole = float(table[case, band]), float(table[0, band])
                        silent = min(level, whole) <= SILENCE_DB
                        yield [
                            loudspeaker.name, listener, driver_name, name, kind if case else "", f"{nominal_hz:g}",
                            "" if level <= SILENCE_DB else _decibels(level),
                            "" if silent or not case else _decibels(whole - level),
                            "yes" if judged[band] else "no",
                        ]  # fmt: skip


def _decibels(level: float) -> str:
    return f"{np.round(level, 2) + 0.0:.2f}"
