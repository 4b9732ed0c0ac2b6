"""Tables of a decay study: curves, and every figure with its standard error.

UTF-8, comma separated; an empty cell means that there is nothing to say.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from ..errors import OutputError
from ..responses.decay_records import DecayStudy
from ..responses.room_metrics import FIGURES

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
    _write(folder / "decay.csv", ["loudspeaker", "listener", "time_ms", *octaves], _curves(study))
    headings = [
        "loudspeaker", "listener", "octave_hz", "judged", "figure", "value", "standard_error", "reached", "answer"
    ]  # fmt: skip
    _write(folder / "decay_figures.csv", headings, [*_figures(study), *_room(study)])


def _curves(study: DecayStudy) -> Iterator[Row]:
    for s, place, name, listener in study.pairs():
        for n, time in enumerate(study.time_s):
            cells = [
                _number(float(values[s, place, o, n]), 3)
                for o in range(len(study.octaves))
                for values in (study.level_db, study.level_error_db)
            ]
            yield [name, listener, f"{1000.0 * time:g}", *cells]


def _figures(study: DecayStudy) -> Iterator[Row]:
    for s, place, name, listener in study.pairs():
        for o, hz in enumerate(study.octaves.nominal_hz):
            start = [name, listener, f"{hz:g}", _yes(bool(study.judged[o]))]
            for f, figure in enumerate(FIGURES):
                value, error = float(study.figures[s, place, o, f]), float(study.errors[s, place, o, f])
                yield [*start, figure, *_pair(figure, value, error), _reached(study, figure, value, error), ""]
            yield [*start, "followed_db", _number(float(study.range_db[s, place, o]), 1), "", "", ""]


def _room(study: DecayStudy) -> Iterator[Row]:
    room, count = study.room, len(study.octaves)
    for o, hz in enumerate(study.octaves.nominal_hz):
        start = [WHOLE_ROOM, WHOLE_ROOM, f"{hz:g}", _yes(bool(study.judged[o]))]
        answer = study.verdicts[o].answer
        yield [*start, "t20_s", *_pair("t20_s", float(room.t20_s[o]), float(room.t20_error_s[o])), "", answer]
        yield [*start, "t30_s", *_pair("t30_s", float(room.t30_s[o]), float(room.t30_error_s[o])), "", ""]
        for figure, value in (
            ("lowest_tolerated_s", study.aim.lower_s[o]), ("highest_tolerated_s", study.aim.upper_s[o]),
            ("sabine_s", study.diffuse.sabine_s[-count:][o]), ("eyring_s", study.diffuse.eyring_s[-count:][o]),
        ):  # fmt: skip
            yield [*start, figure, _number(float(value), 4), "", "", ""]


def _reached(study: DecayStudy, figure: str, value: float, error: float) -> str:
    """Whether the wanted error was reached; only T20 and C50 have one."""
    if figure == "t20_s":
        return _yes(error <= 0.01 * study.wanted_percent * value)
    return _yes(error <= study.wanted_db) if figure == "c50_db" else ""


def _pair(figure: str, value: float, error: float) -> Row:
    decimals = next(many for ending, many in DECIMALS.items() if figure.endswith(ending))
    return [_number(value, decimals), _number(error, decimals)]


def _yes(true: bool) -> str:
    return "yes" if true else "no"


def _number(value: float, decimals: int) -> str:
    if not math.isfinite(value):
        return ""
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def _write(path: Path, headings: Row, rows: Iterable[Row]) -> None:
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(headings)
            writer.writerows(rows)
    except OSError as fault:
        raise OutputError(f"{path}: the table cannot be written ({fault.strerror}); choose another folder.") from None
