"""Tables of a decay study: curves, and every figure with its standard error.

UTF-8, comma separated; an empty cell means that there is nothing to say.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from ..responses.decay_records import DecayStudy
from ..responses.room_metrics import FIGURES
from .cells import number_cell, write_table, yes_cell

Row = list[str]
WHOLE_ROOM: Final = "all"
DECIMALS: Final = {"_s": 4, "_db": 3, "d50": 5, "_ms": 3, "_permille": 2, "_percent": 2}


def write_decay_tables(study: DecayStudy, folder: Path) -> None:
    """Write decay.csv and decay_figures.csv into a folder.

    Raises
    ------
    OutputError
        If one cannot be written.
    """
    octaves = [
        f"{what}_{hz:g}_hz_db" for hz in study.octaves.nominal_hz for what in ("level", "standard_error")
    ]  # fmt: skip
    write_table(folder / "decay.csv", ["loudspeaker", "listener", "time_ms", *octaves], _curves(study))
    headings = [
        "loudspeaker", "listener", "octave_hz", "judged", "figure", "value", "standard_error", "reached", "answer"
    ]  # fmt: skip
    write_table(folder / "decay_figures.csv", headings, [*_figures(study), *_room(study)])


def _curves(study: DecayStudy) -> Iterator[Row]:
    for s, place, name, listener in study.pairs():
        for n, time in enumerate(study.time_s):
            cells = [
                number_cell(float(values[s, place, o, n]), 3)
                for o in range(len(study.octaves))
                for values in (study.level_db, study.level_error_db)
            ]
            yield [name, listener, f"{1000.0 * time:g}", *cells]


def _figures(study: DecayStudy) -> Iterator[Row]:
    for s, place, name, listener in study.pairs():
        for o, hz in enumerate(study.octaves.nominal_hz):
            start = [name, listener, f"{hz:g}", yes_cell(bool(study.judged[o]))]
            for f, figure in enumerate(FIGURES):
                value, error = float(study.figures[s, place, o, f]), float(study.errors[s, place, o, f])
                yield [*start, figure, *_pair(figure, value, error), _reached(study, figure, value, error), ""]
            yield [*start, "followed_db", number_cell(float(study.range_db[s, place, o]), 1), "", "", ""]


def _room(study: DecayStudy) -> Iterator[Row]:
    room, count = study.room, len(study.octaves)
    for o, hz in enumerate(study.octaves.nominal_hz):
        start = [WHOLE_ROOM, WHOLE_ROOM, f"{hz:g}", yes_cell(bool(study.judged[o]))]
        answer = study.verdicts[o].answer
        yield [*start, "t20_s", *_pair("t20_s", float(room.t20_s[o]), float(room.t20_error_s[o])), "", answer]
        yield [*start, "t30_s", *_pair("t30_s", float(room.t30_s[o]), float(room.t30_error_s[o])), "", ""]
        for figure, value in (
            ("lowest_tolerated_s", study.aim.lower_s[o]), ("highest_tolerated_s", study.aim.upper_s[o]),
            ("sabine_s", study.diffuse.sabine_s[-count:][o]), ("eyring_s", study.diffuse.eyring_s[-count:][o]),
        ):  # fmt: skip
            yield [*start, figure, number_cell(float(value), 4), "", "", ""]


def _reached(study: DecayStudy, figure: str, value: float, error: float) -> str:
    """Whether the wanted error was reached; only T20 and C50 have one."""
    if figure == "t20_s":
        return yes_cell(error <= 0.01 * study.wanted_percent * value)
    return yes_cell(error <= study.wanted_db) if figure == "c50_db" else ""


def _pair(figure: str, value: float, error: float) -> Row:
    decimals = next(many for ending, many in DECIMALS.items() if figure.endswith(ending))
    return [number_cell(value, decimals), number_cell(error, decimals)]
