"""The table of responses at the ear: third-octave levels with everything, and with one thing at a time left out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ..acoustics.decibels import SILENCE_DB
from ..responses.results import Results
from .cells import number_cell, write_table, yes_cell

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
    write_table(path, COLUMNS, _rows(results))


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
                            number_cell(level, 2),
                            "" if silent or not case else number_cell(whole - level, 2),
                            yes_cell(judged[band]),
                        ]  # fmt: skip
