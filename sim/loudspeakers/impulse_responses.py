"""Impulse responses measured around a loudspeaker: WAV files with a table, and the directivity they give.

Each response is compared with that on the axis in bands of 1/24 octave: the magnitude is the root of the ratio of
energies, the phase that of the cross-spectrum, so that notches which all directions share do no harm.  No window is
applied: reflections of the room that the responses hold are taken for the loudspeaker.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray
from sim.blueprint.error_messages import shown
from sim.errors import SceneError
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.normalising import LARGEST, measured_data
from sim.loudspeakers.orbits import NAMES
from sim.loudspeakers.polar_files import read_delimited, refuse_radians
from sim.machine.wave_samples import read_samples

POINTS_PER_OCTAVE: Final = 24
LOWEST_HZ: Final = 20.0
HIGHEST_HZ: Final = 20000.0
SHORTEST_TRANSFORM: Final = 32768
SILENT_DB: Final = -80.0
"""Bands this far below the loudest one on the axis carry no signal."""
SHORTEST_MS: Final = 2.0


def directivity_of_impulses(
    responses: FloatArray,
    sampling_rate_hz: float,
    delays_samples: FloatArray,
    directions: FloatArray,
    *,
    source: str,
    notes: tuple[str, ...] = (),
    horizontal: BoolArray | None = None,
) -> DirectivityData:
    """Directivity from responses (p, sample) with delays (p,) toward directions (p, 3).

    `horizontal` as in `measured_data`.  Raises ValueError, "what was found; what would work", when the axis was not
    measured or is silent, or responses are too short.
    """
    if not (np.isfinite(responses).all() and np.abs(responses).max() <= LARGEST and np.isfinite(delays_samples).all()):
        raise ValueError("its responses or delays hold numbers that are not finite; export it again")
    lasting_ms = 1000.0 * responses.shape[1] / sampling_rate_hz
    if not lasting_ms >= SHORTEST_MS:
        raise ValueError(f"its responses last {lasting_ms:.2g} ms, too short to say anything; give 5 ms or more")
    ahead = int(np.argmax(directions[:, 0]))
    length = max(SHORTEST_TRANSFORM, 1 << (responses.shape[1] - 1).bit_length())
    bins = np.fft.rfftfreq(length, 1.0 / sampling_rate_hz)
    lowest = max(LOWEST_HZ, sampling_rate_hz / responses.shape[1])
    highest = min(HIGHEST_HZ, 0.45 * sampling_rate_hz)
    steps = int(np.floor(np.log2(highest / lowest) * POINTS_PER_OCTAVE))
    frequencies = lowest * 2.0 ** (np.arange(steps + 1) / POINTS_PER_OCTAVE)
    half = 2.0 ** (0.5 / POINTS_PER_OCTAVE)
    first = np.searchsorted(bins, frequencies / half)
    last = np.maximum(np.searchsorted(bins, frequencies * half), first + 1)

    def banded(spectrum: ComplexArray) -> ComplexArray:
        summed = np.concatenate([[0.0], np.cumsum(spectrum)])
        return np.asarray((summed[last] - summed[first]) / (last - first))

    axis = np.fft.rfft(responses[ahead], length)
    axis_energy = banded(np.abs(axis) ** 2 + 0j).real
    heard = axis_energy > axis_energy.max() * 10.0 ** (SILENT_DB / 10.0)
    if not axis_energy.max() > 0.0:
        raise ValueError("the response on the axis is silent; export it again")
    values = np.empty((len(responses), len(frequencies)), dtype=np.complex128)
    for row, response in enumerate(responses):
        spectrum = np.fft.rfft(response, length)
        late = (delays_samples[row] - delays_samples[ahead]) / sampling_rate_hz
        spectrum = spectrum * np.exp(-2j * np.pi * bins * late)
        size = np.sqrt(banded(np.abs(spectrum) ** 2 + 0j).real / np.maximum(axis_energy, 1e-300))
        values[row] = size * np.exp(1j * np.angle(banded(spectrum * axis.conj())))
    reported = list(notes)
    if lowest > LOWEST_HZ * 1.01:
        reported.append(f"responses of {lasting_ms:.1f} ms say nothing below {lowest:.0f} Hz")
    reported.append("no window was applied to the impulse responses")
    return measured_data(
        directions,
        frequencies[heard],
        values[:, heard],
        has_phase=True,
        source=source,
        notes=tuple(reported),
        horizontal=horizontal,
    )


# Folders of impulse responses: WAV files of one loudspeaker, and a table that says which was measured where.

TABLE: Final = "angles.csv"
MOST_FILES: Final = 20000
MOST_SAMPLES: Final = 50_000_000
"""Of all responses together: two orbits of five degrees take a second each, at 192 kHz, and half of that is left."""
LARGEST_WAV_BYTES: Final = 100_000_000
_COLUMNS: Final = "write file, orbit and angle_deg, or file, azimuth_deg and elevation_deg"


def read_impulse_folder(folder: Path, where: str) -> DirectivityData:
    """Read WAV files of one loudspeaker from a folder with a table that says which was measured where.

    The table `angles.csv` has the column `file` and either `orbit` and `angle_deg`, or `azimuth_deg` and
    `elevation_deg` (positive to the right and up, as seen by someone who faces the loudspeaker).

    Raises
    ------
    SceneError
        If the table or a file is missing or cannot be read, or the axis was not measured.
    """
    names, lines, directions, horizontal = _table(folder / TABLE, where)
    read: dict[str, FloatArray] = {}
    rates: set[int] = set()
    for name, line in zip(names, lines, strict=True):
        if name not in read:
            read[name], rate = _wav(folder / name, line)
            rates.add(rate)
    if len(rates) > 1:
        listed = " and ".join(f"{rate:g}" for rate in sorted(rates))
        raise SceneError(f"{where}, {folder.name}", f"its files were sampled at {listed} Hz", "give all the same rate")
    longest = max(len(response) for response in read.values())
    if longest * len(names) > MOST_SAMPLES:
        raise SceneError(
            f"{where}, {folder.name}",
            f"it names {len(names)} responses of up to {longest:,} samples",
            "cut them after the last reflection that counts",
        )
    padded = np.array([np.pad(read[name], (0, longest - len(read[name]))) for name in names])
    others = sorted(path.name for path in folder.glob("*.[wW][aA][vV]") if path.name not in read)
    notes = [f"not in {TABLE} and so not used: {_listed(others)}"] if others else []
    try:
        return directivity_of_impulses(
            padded,
            float(rates.pop()),
            np.zeros(len(padded)),
            directions,
            horizontal=horizontal,
            source=folder.name,
            notes=tuple(notes),
        )
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(f"{where}, {folder.name}", found, remedy) from None


def _table(path: Path, where: str) -> tuple[list[str], list[str], FloatArray, BoolArray | None]:
    """File names, their places in the table, directions (p, 3), and which are horizontal, None for a sphere."""
    here = f"{path.parent.name}/{TABLE}"
    if not path.is_file():
        raise SceneError(
            f"{where}, {path.parent.name}",
            f"there is no {TABLE} in it",
            "write one with the columns file, orbit and angle_deg, or file, azimuth_deg and elevation_deg",
        )
    if not path.resolve().is_relative_to(path.parent.resolve()):
        raise SceneError(here, "it leads out of its folder", "put the table itself there")
    table = read_delimited(path, f"{where}, {here}", here)
    by_orbit = {"orbit", "angle_deg"} <= set(table.columns)
    if "file" not in table.columns or not (by_orbit or {"azimuth_deg", "elevation_deg"} <= set(table.columns)):
        raise SceneError(here, f"its columns are {shown(','.join(table.columns))}", _COLUMNS)
    if not 0 < len(table.rows) <= MOST_FILES:
        raise SceneError(here, f"it names {len(table.rows)} files", f"name 1 to {MOST_FILES}")
    names, lines, reported = [], [], []
    for number, row in table.rows:
        line = table.place(number)
        name = row["file"]
        if not _is_beside(name, path):
            raise SceneError(line, f"the file is {shown(name)}", "name a file in the same folder")
        names.append(name)
        lines.append(line)
        if by_orbit:
            if row["orbit"].lower() not in NAMES:
                raise SceneError(line, f"the orbit is {shown(row['orbit'])}", "write horizontal or vertical")
            reported.append((table.angle_deg(number, row, "angle_deg"), float(row["orbit"].lower() == NAMES[0])))
        else:
            elevation = table.angle_deg(number, row, "elevation_deg", 90.0)
            reported.append((table.angle_deg(number, row, "azimuth_deg"), elevation))
    first, second = np.array(reported).T
    refuse_radians(first if by_orbit else np.concatenate([first, second]), here)
    turned = np.radians(first)
    if by_orbit:
        across = second > 0.0
        side = np.sin(turned)
        return names, lines, np.column_stack([np.cos(turned), side * across, side * ~across]), across
    up = np.radians(second)
    out = np.cos(up)
    return names, lines, np.column_stack([out * np.cos(turned), out * np.sin(turned), np.sin(up)]), None


def _is_beside(name: str, table: Path) -> bool:
    """Whether a name is that of something in the table's own folder, links followed."""
    try:
        return bool(name) and (table.parent / name).resolve().parent == table.parent.resolve()
    except (OSError, RuntimeError, ValueError):  # longer than the system takes, links in a ring, a zero byte
        return False


def _wav(path: Path, line: str) -> tuple[FloatArray, int]:
    name = shown(path.name)
    try:
        rate, samples, _ = read_samples(path, LARGEST_WAV_BYTES, "cut it to the response")
    except FileNotFoundError:
        raise SceneError(line, f"there is no file {name}", "correct its name, or take the row out") from None
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(line, f"{name} {found}", remedy) from None
    if len(samples) > 1:
        raise SceneError(line, f"{name} has {len(samples)} channels", "export it with one channel")
    return samples[0], rate


def _listed(names: list[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
