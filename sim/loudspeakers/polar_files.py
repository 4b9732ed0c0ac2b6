"""Polar data of two orbits as a table: frequency_hz, orbit, angle_deg, level_db and, if known, phase_deg.

One row a frequency and angle.  `orbit` is horizontal or vertical; angles run from the axis in degrees, positive to the
right (horizontal) or up (vertical) as seen by someone who faces the loudspeaker, from -180 to 180 or from 0 to 350, as
ANSI/CTA-2034-A measures every 10 degrees.  Levels are in dB re anything; they are normalised to the axis.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.error_messages import shown
from sim.errors import SceneError
from sim.loudspeakers.delimited import DelimitedTable, read_delimited, refuse_radians
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.normalising import measured_data
from sim.loudspeakers.orbits import NAMES

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
