"""Numbers, lengths and cells of tables as people are told them, in the unit the scene is written in.

A frequency that someone chose (a band, a crossover, an octave) reads "500 Hz" or "2 kHz".  One that was calculated or
measured, such as a notch, is a whole number of hertz, written where it stands.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import Final

from sim.acoustics.levels import SILENCE_DB
from sim.blueprint.units import UNIT_M
from sim.machine.whole_files import write_whole


def hertz(frequency_hz: float) -> str:
    """Write a frequency the way people say it: "500 Hz", "2 kHz"."""
    return f"{frequency_hz / 1000:g} kHz" if frequency_hz >= 1000 else f"{frequency_hz:g} Hz"


def hertz_range(lowest_hz: float, highest_hz: float) -> str:
    """Write the ends of a band: "500 Hz to 8 kHz", and one frequency alone: "2 kHz"."""
    return hertz(lowest_hz) if lowest_hz == highest_hz else f"{hertz(lowest_hz)} to {hertz(highest_hz)}"


def short_hertz(frequency_hz: float) -> str:
    """Write a frequency where the heading or the axis says hertz: "500", "2k"."""
    return hertz(frequency_hz).removesuffix(" Hz").replace(" kHz", "k")


def level_words(level_db: float, decimals: int | None = None) -> str:
    """Write a level with a true minus sign, with a fixed number of decimals if given."""
    number = f"{level_db:g}" if decimals is None else f"{level_db:.{decimals}f}"
    return f"{number} dB".replace("-", "\N{MINUS SIGN}")


def tenths(value: float) -> str:
    """Write one decimal, and never a minus zero."""
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text


def joined(words: Sequence[str]) -> str:
    """Write words in a row: "a, b and c"; nothing for none."""
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)


def level_cell(level_db: float) -> str:
    """Write a level in a table whose heading says dB: a tenth of a decibel, or a stroke for silence."""
    return f"{level_db:.1f}" if math.isfinite(level_db) and level_db > SILENCE_DB else "-"


def halves(level_db: float) -> str:
    """Round to half a decibel, which is as much as a sentence says: "-12.5", "3", and never a minus zero."""
    return f"{round(2.0 * level_db) / 2.0 + 0.0:g}"


def db_words(level_db: float) -> str:
    """Write a level in a sentence, to half a decibel: "-12.5 dB", or "nothing" for silence."""
    return f"{halves(level_db)} dB" if level_db > SILENCE_DB else "nothing"


def db_change(change_db: float) -> str:
    """Write the size of a change in a sentence: "1.5 dB", or "less than 0.5 dB" where it would round to nothing."""
    text = halves(abs(change_db))
    return "less than 0.5 dB" if text == "0" and change_db else f"{text} dB"


def db_beside(level_db: float, limit_db: float) -> str:
    """Write a level in a sentence that says on which side of a limit it is: tenths where halves would hide that."""
    return f"{tenths(level_db)} dB" if halves(level_db) == halves(limit_db) else db_words(level_db)


# Lengths as people are told them, in the unit the scene is written in.
#
# Screens, files, pictures and the report show one spelling, that of a tape measure: "1.234 m", "123.4 cm", "48 5/8 in",
# "4 ft 0 5/8 in" (`format_length`); in a column whose heading names the unit, the same without it (`bare_length`).
#
# Drawings for builders have their own, because the trade reads them so: millimetres without a unit, which the sheet
# tells once (ISO 129-1), or inches with marks, 4'-0 5/8" (`drawn_length`; common practice, no source).  Nothing else
# turns metres into text, but a setting that a person typed is repeated as they typed it, "0.85 m".

SIXTEENTHS: Final = 16
"""Finest mark on a common inch tape (common practice, no source)."""
METRIC_DECIMALS: Final[dict[str, int]] = {"m": 3, "cm": 1, "mm": 0}
"""To a millimetre, the finest mark on a metric tape."""


def format_length(metres: float, unit: str) -> str:
    """Write a length in a unit: to a millimetre, or to the nearest sixteenth of an inch.

    A length that is not finite has no mark on a tape and gives an empty text.  Raises KeyError for a unit other than
    m, cm, mm, in and ft.
    """
    per_unit = UNIT_M[unit]
    if not math.isfinite(metres):
        return ""
    if unit in METRIC_DECIMALS:
        text = f"{metres / per_unit:.{METRIC_DECIMALS[unit]}f}"
        return f"{text.removeprefix('-') if float(text) == 0.0 else text} {unit}"
    sign, feet, inches = _inches_of(metres, unit)
    return f"{sign}{feet} ft {inches} in" if feet else f"{sign}{inches} in"


def format_small(metres: float, unit: str) -> str:
    """Write a length of a few centimetres: metres become centimetres, feet become inches."""
    return format_length(metres, {"m": "cm", "ft": "in"}.get(unit, unit))


def bare_length(metres: float, unit: str) -> str:
    """Write a length without its unit, which the heading of the column names; feet and inches need theirs."""
    text = format_length(metres, unit)
    return text if unit == "ft" else text.removesuffix(f" {unit}")


def drawn_length(metres: float, unit: str) -> str:
    """Write a length for a drawing of a scene in `unit`: "690", 27 3/16", or 2'-3 3/16" for feet.

    Whole millimetres for m, cm and mm, as drawings for builders have them (ISO 129-1 leaves the unit out and tells it
    once on the sheet).  A length that is not finite gives an empty text.
    """
    if not math.isfinite(metres):
        return ""
    if unit not in ("in", "ft"):
        return str(round(1000.0 * metres + 1e-6))
    sign, feet, inches = _inches_of(metres, unit)
    return f"{sign}{feet}'-{inches}\"" if feet else f'{sign}{inches}"'


def drawn_area_size(first_m: float, second_m: float, unit: str) -> str:
    """Two sides of a rectangle: "600 x 1200"."""
    return f"{drawn_length(first_m, unit)} x {drawn_length(second_m, unit)}"


def unit_words(unit: str) -> str:
    """Say once on a sheet what its lengths are in."""
    return {
        "in": "Lengths in inches, to 1/16",
        "ft": "Lengths in feet and inches, to 1/16",
    }.get(unit, "Lengths in millimetres")


def in_unit(metres: float, unit: str) -> float:
    """The number of units in a length in metres, for the axes of pictures."""
    return metres / UNIT_M[unit]


def _inches_of(metres: float, unit: str) -> tuple[str, int, str]:
    """Sign, whole feet (none for a unit of inches) and inches to the nearest sixteenth, as a person writes them."""
    sixteenths = round(abs(metres) / UNIT_M["in"] * SIXTEENTHS)
    sign = "-" if metres < 0.0 and sixteenths else ""
    feet, rest = divmod(sixteenths, 12 * SIXTEENTHS) if unit == "ft" else (0, sixteenths)
    return sign, feet, _with_fraction(rest, keep_zero=feet > 0)


def _with_fraction(sixteenths: int, keep_zero: bool) -> str:
    whole, above = divmod(sixteenths, SIXTEENTHS)
    if above == 0:
        return str(whole)
    shared = math.gcd(above, SIXTEENTHS)
    fraction = f"{above // shared}/{SIXTEENTHS // shared}"
    return f"{whole} {fraction}" if whole or keep_zero else fraction


# Tables as CSV files and the cells in them: one way to write a number, an answer, and a whole file.
#
# Spreadsheet programs take a cell that starts with =, +, -, @, a tab or a line break for a formula, and names come from
# scenes that somebody may have sent.  Such a cell gets an apostrophe in front, unless it is a number: the mark by which
# these programs know a text.  Cells with any usual separator stand in quotes, since some countries part by semicolons.

_FORMULA: Final = re.compile(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]")
"""The four signs, as they are and in the full width of East Asian writing."""
_PLAIN: Final = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?|-")
"""A number, or the stroke that stands for none."""
_SEPARATORS: Final = re.compile(r'[",;\t\r\n]')


def number_cell(value: float, decimals: int) -> str:
    """A number as a cell; empty where there is none or where a level says that nothing arrives; never "-0"."""
    if not math.isfinite(value) or value <= SILENCE_DB:
        return ""
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def yes_cell(holds: bool) -> str:
    """An answer as a cell."""
    return "yes" if holds else "no"


def written_cell(text: str) -> str:
    """A cell as it stands in the file: no formula, and in quotes where it holds a separator."""
    safe = f"'{text}" if _FORMULA.match(text) and not _PLAIN.fullmatch(text) else text
    return '"' + safe.replace('"', '""') + '"' if _SEPARATORS.search(safe) else safe


def table_text(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Headings and rows of cells as the text of a file."""
    return "".join(",".join(written_cell(cell) for cell in cells) + "\n" for cells in chain([headings], rows))


def write_table(path: Path, headings: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write headings and rows of cells.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_whole(path, table_text(headings, rows), "the table")


def write_records(path: Path, records: Sequence[Mapping[str, str]], when_empty: Sequence[str]) -> None:
    """Write records that all have the same keys, which are the headings; `when_empty` are those of no records.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    headings = list(records[0]) if records else list(when_empty)
    write_table(path, headings, [[record[heading] for heading in headings] for record in records])
