"""Tables in plain text, as spreadsheets and measuring programs export them: commas, semicolons or tabs between cells.

With semicolons or tabs numbers may have decimal commas.  With commas they may not: "84,2" would be two cells, and a row
with more cells than the first line has is refused.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.error_messages import shown
from sim.errors import SceneError

MOST_ROWS: Final = 300_000
"""Two orbits of five degrees at two thousand frequencies."""
LARGEST_FILE_BYTES: Final = 50_000_000
LARGEST_TURN_DEG: Final = 360.0

Row = dict[str, str]


@dataclass(frozen=True, slots=True)
class DelimitedTable:
    """Names of the columns, in small letters, and the rows with the number of the line each stands on."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, Row], ...]
    decimal_commas: bool

    def place(self, line: int) -> str:
        """Where a line is, for complaints."""
        return f"{self.name}, line {line}"

    def number(self, line: int, row: Row, column: str, remedy: str = "write a number") -> float:
        """The number in a cell, refused when it is none or not finite."""
        cell = row[column]
        try:
            value = float(cell.replace(",", ".") if self.decimal_commas else cell)
        except ValueError:
            value = float("nan")
        if not np.isfinite(value):
            raise SceneError(self.place(line), f"{column} is {shown(cell)}", remedy)
        return value

    def angle_deg(self, line: int, row: Row, column: str, largest_deg: float = LARGEST_TURN_DEG) -> float:
        """An angle in degrees, no farther round than it can be."""
        angle = self.number(line, row, column, "write a number of degrees")
        if abs(angle) > largest_deg:
            raise SceneError(
                self.place(line), f"{column} is {angle:g}", f"write degrees from -{largest_deg:g} to {largest_deg:g}"
            )
        return angle


def read_delimited(path: Path, where: str, name: str) -> DelimitedTable:
    """Read a table; `where` is for complaints on the file as a whole, `name` for those on its lines.

    Raises
    ------
    SceneError
        If it is not text, is empty, names a column twice, or a row has more cells than columns.
    """
    try:
        size = path.stat().st_size
        if size > LARGEST_FILE_BYTES:
            raise SceneError(where, f"it has {size:,} bytes", "thin out its frequencies")
        text = path.read_text(encoding="utf-8-sig") if path.is_file() else ""
    except (OSError, UnicodeDecodeError):
        raise SceneError(where, "it cannot be read as text", "save it as CSV in UTF-8") from None
    lines = text.splitlines()
    head = lines[0] if lines else ""
    mark = next((mark for mark in (";", "\t") if mark in head), ",")
    if not text.strip():
        raise SceneError(where, "it is empty", "write a line with the names of the columns, and rows below it")
    reader = csv.reader(lines, delimiter=mark)
    try:
        columns = tuple(cell.strip().lower() for cell in next(reader, []))
        twice = next((column for column in columns if column and columns.count(column) > 1), None)
        if twice is not None:
            raise SceneError(where, f"two of its columns are called {twice}", "take one of them out")
        return DelimitedTable(name, columns, tuple(_rows(reader, columns, name)), mark != ",")
    except csv.Error as fault:
        raise SceneError(f"{name}, line {reader.line_num}", str(fault), "export the table again") from None


def _rows(reader: Iterator[list[str]], columns: tuple[str, ...], name: str) -> Iterator[tuple[int, Row]]:
    for number, cells in enumerate(reader):
        line = reader.line_num  # type: ignore[attr-defined]
        if number >= MOST_ROWS:
            raise SceneError(name, f"it has more than {MOST_ROWS:,} rows", "thin out its frequencies")
        if any(cell.strip() for cell in cells[len(columns) :]):
            raise SceneError(
                f"{name}, line {line}",
                f"it has {len(cells)} cells where the first line has {len(columns)}",
                "part cells by semicolons if numbers have decimal commas, or take out what has no column",
            )
        if any(cell.strip() for cell in cells):
            padded = [*cells, *[""] * (len(columns) - len(cells))]
            yield line, {column: cell.strip() for column, cell in zip(columns, padded, strict=False)}


def refuse_radians(angles_deg: FloatArray, where: str) -> None:
    """Refuse angles that end within two pi and are no whole numbers: nobody measures so few degrees."""
    widest = float(np.abs(angles_deg).max(initial=0.0))
    if 0.0 < widest <= 2.0 * np.pi + 0.01 and (angles_deg % 1.0 != 0.0).any():
        raise SceneError(where, f"its angles end at {widest:.3g}, which looks like radians", "write them in degrees")
