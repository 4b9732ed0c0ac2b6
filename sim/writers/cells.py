"""Tables as CSV files and the cells in them: one way to write a number, an answer, and a whole file."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from ..acoustics.decibels import SILENCE_DB
from ..whole_files import write_whole


def number_cell(value: float, decimals: int) -> str:
    """A number as a cell; empty where there is none or where a level says that nothing arrives; never "-0"."""
    if not math.isfinite(value) or value <= SILENCE_DB:
        return ""
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def yes_cell(holds: bool) -> str:
    """An answer as a cell."""
    return "yes" if holds else "no"


def write_table(path: Path, headings: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write headings and rows of cells.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows(rows)
    write_whole(path, text.getvalue(), "the table")


def write_records(path: Path, records: Sequence[Mapping[str, str]], when_empty: Sequence[str]) -> None:
    """Write records that all have the same keys, which are the headings; `when_empty` are those of no records.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    headings = list(records[0]) if records else list(when_empty)
    write_table(path, headings, [[record[heading] for heading in headings] for record in records])
