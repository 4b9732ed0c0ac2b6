"""Tables as CSV files and the cells in them: one way to write a number, an answer, and a whole file.

Spreadsheet programs take a cell that starts with =, +, -, @, a tab or a line break for a formula, and names come from
scenes that somebody may have sent.  Such a cell gets an apostrophe in front, unless it is a number: the mark by which
these programs know a text.  Cells with any usual separator stand in quotes, since some countries part by semicolons.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import Final

from sim.acoustics.levels import SILENCE_DB
from sim.machine.whole_files import write_whole

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
