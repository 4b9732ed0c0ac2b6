"""Tables in plain text as spreadsheets and measuring programs export them, and polar data of two orbits among them.

With semicolons or tabs numbers may have decimal commas.  With commas they may not: "84,2" would be two cells, and a row
with more cells than the first line has is refused.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.error_messages import shown
from sim.errors import SceneError
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.normalising import measured_data
from sim.loudspeakers.orbits import NAMES

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


# Polar data of two orbits as a table: frequency_hz, orbit, angle_deg, level_db and, if known, phase_deg.
#
# One row a frequency and angle.  `orbit` is horizontal or vertical; angles run from the axis in degrees, positive to
# the right (horizontal) or up (vertical) as seen by someone who faces the loudspeaker, from -180 to 180 or from 0 to
# 350, as ANSI/CTA-2034-A measures every 10 degrees.  Levels are in dB re anything; they are normalised to the axis.

NEEDED: Final = ("frequency_hz", "orbit", "angle_deg", "level_db")
PHASE: Final = "phase_deg"
LARGEST_LEVEL_DB: Final = 400.0
LARGEST_RATIO: Final = 10.0
"""Levels that all lie between zero and this look like ratios."""


@dataclass(frozen=True, slots=True)
class _Columns:
    """Rows as columns (r,): horizontal or not, angle, frequency, level, phase (empty when it was not told)."""

    horizontal: FloatArray
    angle_deg: FloatArray
    frequency_hz: FloatArray
    level_db: FloatArray
    phase_deg: FloatArray


def read_polar_file(path: Path, where: str) -> DirectivityData:
    """Read a table of polar data.

    `where` names the key or argument that named the file, for complaints.

    Raises
    ------
    SceneError
        If a column is missing, a row cannot be read, units look wrong, or the axis was not measured.
    """
    here = f"{where}, {path.name}"
    table = read_delimited(path, here, path.name)
    missing = [name for name in NEEDED if name not in table.columns]
    if missing:
        raise SceneError(
            here,
            f"its first line is {shown(','.join(table.columns))}, without a column {missing[0]}",
            f"write the columns {', '.join(NEEDED)} and, if known, {PHASE}, parted by commas, semicolons or tabs",
        )
    if not table.rows:
        raise SceneError(here, "it has no rows", "give one row for each frequency and angle")
    columns = _columns(table)
    _refuse_wrong_units(columns, path.name)
    notes = _phase_notes(columns)
    unread = [name for name in table.columns if name and name not in (*NEEDED, PHASE)]
    if unread:
        notes.append(f"columns that are not read: {', '.join(shown(name) for name in unread)}")
    values = 10.0 ** (columns.level_db / 20.0) * np.exp(1j * np.radians(columns.phase_deg if _has(columns) else 0.0))
    per_direction: dict[tuple[float, float], list[int]] = defaultdict(list)
    for row, key in enumerate(zip(columns.horizontal.tolist(), columns.angle_deg.tolist(), strict=True)):
        per_direction[key].append(row)
    frequencies = np.unique(columns.frequency_hz)
    flags, angles, grid = [], [], []
    for (horizontal, angle), rows in per_direction.items():
        place = f"the {NAMES[horizontal == 0.0]} orbit"
        for times in _times(columns.frequency_hz[rows], frequencies, f"{place} at {angle:g} degrees", here):
            flags.append(horizontal > 0.0)
            angles.append(np.radians(angle))
            grid.append(values[np.array(rows)[times]])
    turned, across = np.array(angles), np.array(flags)
    side = np.sin(turned)
    directions = np.column_stack([np.cos(turned), np.where(across, side, 0.0), np.where(across, 0.0, side)])
    try:
        return measured_data(
            directions,
            frequencies,
            np.array(grid),
            has_phase=_has(columns),
            source=path.name,
            notes=tuple(notes),
            horizontal=across,
        )
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(here, found, remedy) from None


def _columns(table: DelimitedTable) -> _Columns:
    has_phase = PHASE in table.columns and any(row[PHASE] for _, row in table.rows)
    reported = []
    for line, row in table.rows:
        orbit = row["orbit"].lower()
        if orbit not in NAMES:
            raise SceneError(table.place(line), f"the orbit is {shown(row['orbit'])}", "write horizontal or vertical")
        frequency, level = (table.number(line, row, column) for column in ("frequency_hz", "level_db"))
        if abs(level) > LARGEST_LEVEL_DB:
            raise SceneError(table.place(line), f"the level is {level:g} dB", "write a level in dB")
        if frequency <= 0.0:
            raise SceneError(table.place(line), f"the frequency is {frequency:g} Hz", "write more than zero")
        phase = (
            [table.number(line, row, PHASE, "write a number, or leave the whole column out")] if has_phase else [0.0]
        )
        reported.append((float(orbit == NAMES[0]), table.angle_deg(line, row, "angle_deg"), frequency, level, *phase))
    horizontal, angle, frequency_hz, level_db, phase_deg = np.array(reported).T
    return _Columns(horizontal, angle, frequency_hz, level_db, phase_deg if has_phase else np.zeros(0))


def _has(columns: _Columns) -> bool:
    return bool(columns.phase_deg.size)


def _times(found_hz: FloatArray, wanted_hz: FloatArray, place: str, here: str) -> list[list[int]]:
    """Rows of each measurement of one direction, in the order of the wanted frequencies; usually there is one."""
    per_frequency: dict[float, list[int]] = defaultdict(list)
    for row, frequency in enumerate(found_hz.tolist()):
        per_frequency[frequency].append(row)
    if len(per_frequency) != len(wanted_hz):
        raise SceneError(
            here,
            f"{place} has {len(per_frequency)} frequencies, others together have {len(wanted_hz)}",
            "give every angle the same frequencies",
        )
    most = max(len(rows) for rows in per_frequency.values())
    return [
        [per_frequency[f][min(time, len(per_frequency[f]) - 1)] for f in wanted_hz.tolist()] for time in range(most)
    ]


def _refuse_wrong_units(columns: _Columns, name: str) -> None:
    highest = float(columns.frequency_hz.max())
    if highest <= 100.0:
        raise SceneError(
            name, f"its frequencies end at {highest:g}, which looks like kHz", "write frequency_hz in hertz"
        )
    refuse_radians(columns.angle_deg, name)
    low, high = float(columns.level_db.min()), float(columns.level_db.max())
    if low >= 0.0 and high < LARGEST_RATIO and high - low > 0.2:
        raise SceneError(
            name,
            f"its levels run from {low:.2g} to {high:.2g}, which looks like ratios",
            "write level_db in dB, 20 lg of the ratio; if they are dB, add 60 to each",
        )
    if _has(columns):
        widest = float(np.abs(columns.phase_deg).max())
        if 3.0 <= widest <= 2.0 * np.pi + 0.01:
            raise SceneError(
                name,
                f"its phases end at {widest:.3g}, which looks like radians",
                "write phase_deg in degrees, or leave the column out",
            )


def _phase_notes(columns: _Columns) -> list[str]:
    widest = float(np.abs(columns.phase_deg).max(initial=0.0))
    if 0.0 < widest < 3.0:
        return [f"its phases stay within {widest:.2g} degrees: they are taken to be degrees, not radians"]
    return []
