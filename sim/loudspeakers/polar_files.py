"""Polar data of two orbits as a table: frequency_hz, orbit, angle_deg, level_db and, if known, phase_deg.

One row a frequency and angle.  `orbit` is horizontal or vertical; angles run from the axis in degrees, positive to the
right (horizontal) or up (vertical) as seen by someone who faces the loudspeaker, from -180 to 180 or from 0 to 350, as
ANSI/CTA-2034-A measures every 10 degrees.  Levels are in dB re anything; they are normalised to the axis.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Final

import numpy as np

from sim.errors import SceneError
from sim.loudspeakers.directivity_data import LARGEST_GAP_DEG, DirectivityData, measured_data

NEEDED: Final = ("frequency_hz", "orbit", "angle_deg", "level_db")
ORBITS: Final = ("horizontal", "vertical")
STANDARD_STEP_DEG: Final = 10.0
"""Step of the orbits in ANSI/CTA-2034-A."""
MOST_ROWS: Final = 2_000_000
LARGEST_LEVEL_DB: Final = 400.0

Orbit = dict[float, dict[float, complex]]


def read_polar_file(path: Path, where: str) -> DirectivityData:
    """Read a table of polar data.

    `where` names the key or argument that named the file, for complaints.

    Raises
    ------
    SceneError
        If a column is missing, a row cannot be read, units look wrong, or the axis was not measured.
    """
    rows, has_phase = _rows(path, where)
    _refuse_wrong_units(rows, path.name)
    orbits: dict[str, Orbit] = {name: {} for name in ORBITS}
    for name, angle, frequency, value in rows:
        orbits[name].setdefault(angle, {})[frequency] = value
    notes = _completed(orbits)
    frequencies = np.array(sorted({frequency for _, _, frequency, _ in rows}))
    directions, horizontal, values = [], [], []
    for number, name in enumerate(ORBITS):
        for angle, per_frequency in sorted(orbits[name].items()):
            if len(per_frequency) != len(frequencies):
                raise SceneError(
                    f"{where}, {path.name}",
                    f"the {name} orbit has {len(per_frequency)} frequencies at {angle:g} degrees, elsewhere there are "
                    f"{len(frequencies)}",
                    "give every angle the same frequencies",
                )
            turned = np.radians(angle)
            across = np.sin(turned)
            directions.append((np.cos(turned), across * (number == 0), across * (number == 1)))
            horizontal.append(float(number == 0))
            values.append([per_frequency[frequency] for frequency in frequencies])
    try:
        return measured_data(
            "two orbits", np.array(directions), np.array(horizontal), frequencies, np.array(values),
            has_phase=has_phase, source=path.name, notes=tuple(notes),
        )  # fmt: skip
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(f"{where}, {path.name}", found, remedy) from None


def _rows(path: Path, where: str) -> tuple[list[tuple[str, float, float, complex]], bool]:
    """Rows as (orbit, angle, frequency, value), and whether they carry phase."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise SceneError(f"{where}, {path.name}", "it cannot be read as text", "save it as CSV in UTF-8") from None
    lines = text.splitlines()
    head = lines[0] if lines else ""
    mark = next((mark for mark in (";", "\t") if mark in head), ",")
    reader = csv.DictReader(lines, delimiter=mark)
    columns = {name.strip().lower(): name for name in reader.fieldnames or ()}
    missing = [name for name in NEEDED if name not in columns]
    if missing:
        raise SceneError(
            f"{where}, {path.name}", f"its first line has no column {missing[0]}",
            f"write the columns {', '.join(NEEDED)} and, if known, phase_deg",
        )  # fmt: skip
    has_phase = "phase_deg" in columns
    rows: list[tuple[str, float, float, complex]] = []
    for number, row in enumerate(reader, start=2):
        if number > MOST_ROWS:
            raise SceneError(
                f"{where}, {path.name}", f"it has more than {MOST_ROWS:,} rows", "thin out its frequencies"
            )
        orbit = (row[columns["orbit"]] or "").strip().lower()
        if orbit not in ORBITS:
            raise SceneError(f"{path.name}, line {number}", f'the orbit is "{orbit}"', "write horizontal or vertical")
        numbers = []
        for name in ("angle_deg", "frequency_hz", "level_db", *(("phase_deg",) if has_phase else ())):
            cell = (row[columns[name]] or "").strip()
            try:
                value = float(cell.replace(",", ".") if mark != "," else cell)
            except ValueError:
                value = float("nan")
            if not np.isfinite(value):
                raise SceneError(f"{path.name}, line {number}", f'{name} is "{cell}"', "write a number")
            numbers.append(value)
        angle, frequency, level, *phase = numbers
        if abs(level) > LARGEST_LEVEL_DB:
            raise SceneError(f"{path.name}, line {number}", f"the level is {level:g} dB", "write a level in dB")
        if frequency <= 0.0:
            raise SceneError(
                f"{path.name}, line {number}", f"the frequency is {frequency:g} Hz", "write more than zero"
            )
        wrapped = (angle + 180.0) % 360.0 - 180.0
        turned = np.exp(1j * np.radians(phase[0])) if phase else 1.0
        rows.append((orbit, wrapped, frequency, complex(10.0 ** (level / 20.0) * turned)))
    if not rows:
        raise SceneError(f"{where}, {path.name}", "it has no rows", "give one row for each frequency and angle")
    return rows, has_phase


def _refuse_wrong_units(rows: list[tuple[str, float, float, complex]], name: str) -> None:
    highest = max(row[2] for row in rows)
    widest = max(abs(row[1]) for row in rows)
    levels = 20.0 * np.log10(np.abs([row[3] for row in rows]))
    if highest <= 100.0:
        raise SceneError(
            name, f"its frequencies end at {highest:g}, which looks like kHz", "write frequency_hz in hertz"
        )
    if 0.0 < widest <= 2.0 * np.pi and any(row[1] % 1.0 for row in rows):
        raise SceneError(
            name, f"its angles end at {widest:.3g}, which looks like radians", "write angle_deg in degrees"
        )
    if levels.min() > 0.0 and levels.max() < 2.0 and np.ptp(levels) > 0.2:
        raise SceneError(
            name, f"its levels run from {levels.min():.2g} to {levels.max():.2g}, which looks like ratios",
            "write level_db in dB, 20 lg of the ratio",
        )  # fmt: skip


def _completed(orbits: dict[str, Orbit]) -> list[str]:
    """Fill in what symmetry allows, in place, and say so."""
    notes = []
    across, upright = (orbits[name] for name in ORBITS)
    for name, other in ((ORBITS[0], ORBITS[1]), (ORBITS[1], ORBITS[0])):
        if not orbits[name]:
            orbits[name].update(orbits[other])
            notes.append(f"no {name} orbit was measured: it is taken to be like the {other} one")
    for angle in (0.0, -180.0):  # measured once, they belong to both orbits
        for one, another in ((across, upright), (upright, across)):
            if angle in one:
                another.setdefault(angle, one[angle])
    for name, orbit in orbits.items():
        for sign, side in ((1.0, ("left", "below")), (-1.0, ("right", "above"))):
            if not any(sign * angle < 0.0 and angle != -180.0 for angle in orbit):
                mirrored = {-angle: values for angle, values in orbit.items() if angle not in (0.0, -180.0)}
                if mirrored:
                    orbit.update(mirrored)
                    notes.append(f"nothing was measured {side[name == 'vertical']}: it is taken from the other side")
        angles = np.array(sorted(orbit))
        farthest = float(np.abs(angles).max())
        within = np.diff(angles)
        if len(within) and within.max() > STANDARD_STEP_DEG + 1e-6:
            notes.append(
                f"the {name} orbit has steps of up to {within.max():g} degrees, where ANSI/CTA-2034-A asks for 10"
            )
        if farthest < 180.0 - LARGEST_GAP_DEG:
            notes.append(f"the {name} orbit ends at {farthest:g} degrees: behind, its two ends are held")
    return list(dict.fromkeys(notes))
