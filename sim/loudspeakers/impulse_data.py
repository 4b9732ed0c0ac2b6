"""From impulse responses measured around a loudspeaker to directivity on a grid of frequencies.

Each response is compared with that on the axis in bands of 1/24 octave: the magnitude is the root of the ratio of
energies, the phase that of the cross-spectrum, so that notches which all directions share do no harm.  No window is
applied: reflections of the room that the responses hold are taken for the loudspeaker.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import ComplexArray, FloatArray
from sim.errors import SceneError
from sim.loudspeakers.directivity_data import DirectivityData, measured_data

TABLE: Final = "angles.csv"
POINTS_PER_OCTAVE: Final = 24
LOWEST_HZ: Final = 20.0
HIGHEST_HZ: Final = 20000.0
SHORTEST_TRANSFORM: Final = 32768
SILENT_DB: Final = -80.0
"""Bands this far below the loudest one on the axis carry no signal."""
MOST_FILES: Final = 20000


def read_impulse_folder(folder: Path, where: str) -> DirectivityData:
    """Read WAV files of one loudspeaker from a folder with a table that says which was measured where.

    The table `angles.csv` has the column `file` and either `orbit` and `angle_deg`, or `azimuth_deg` and
    `elevation_deg` (positive to the right and up, as seen by someone who faces the loudspeaker).

    Raises
    ------
    SceneError
        If the table or a file is missing or cannot be read, or the axis was not measured.
    """
    names, directions, horizontal = _table(folder / TABLE, where)
    responses, rates = [], set()
    for number, name in enumerate(names, start=2):
        response, rate = _wav(folder / name, f"{folder.name}/{TABLE}, line {number}")
        responses.append(response)
        rates.add(rate)
    if len(rates) > 1:
        listed = " and ".join(f"{rate:g}" for rate in sorted(rates))
        raise SceneError(f"{where}, {folder.name}", f"its files were sampled at {listed} Hz", "give all the same rate")
    longest = max(len(response) for response in responses)
    padded = np.array([np.pad(response, (0, longest - len(response))) for response in responses])
    layout = "two orbits" if horizontal is not None else "sphere"
    side = horizontal if horizontal is not None else np.zeros(len(directions))
    try:
        return directivity_of_impulses(
            padded, float(rates.pop()), np.zeros(len(padded)), directions, layout=layout, horizontal=side,
            source=folder.name,
        )  # fmt: skip
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(f"{where}, {folder.name}", found, remedy) from None


def directivity_of_impulses(
    responses: FloatArray,
    sampling_rate_hz: float,
    delays_samples: FloatArray,
    directions: FloatArray,
    *,
    layout: str,
    horizontal: FloatArray,
    source: str,
    notes: tuple[str, ...] = (),
) -> DirectivityData:
    """Directivity from responses (p, sample) with delays (p,) toward directions (p, 3).

    Raises ValueError, "what was found; what would work", when the axis was not measured or is silent.
    """
    ahead = int(np.argmax(directions[:, 0]))
    length = max(SHORTEST_TRANSFORM, 1 << (responses.shape[1] - 1).bit_length())
    bins = np.fft.rfftfreq(length, 1.0 / sampling_rate_hz)
    lowest = max(LOWEST_HZ, sampling_rate_hz / responses.shape[1])
    highest = min(HIGHEST_HZ, 0.45 * sampling_rate_hz)
    if not highest > 1.1 * lowest:
        raise ValueError("its responses are too short to say anything; give responses of 5 ms or more")
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
    told = list(notes)
    if lowest > LOWEST_HZ * 1.01:
        told.append(
            f"responses of {1000.0 * responses.shape[1] / sampling_rate_hz:.1f} ms say nothing below {lowest:.0f} Hz: "
            "the values there are held below"
        )
    told.append("no window was applied to the impulse responses")
    return measured_data(
        "two orbits" if layout == "two orbits" else "sphere", directions, horizontal, frequencies[heard],
        values[:, heard], has_phase=True, source=source, notes=tuple(told),
    )  # fmt: skip


def _table(path: Path, where: str) -> tuple[list[str], FloatArray, FloatArray | None]:
    """File names, directions (p, 3), and which are on the horizontal orbit, None for a sphere."""
    here = f"{path.parent.name}/{TABLE}"
    if not path.is_file():
        raise SceneError(
            f"{where}, {path.parent.name}", f"there is no {TABLE} in it",
            "write one with the columns file, orbit and angle_deg, or file, azimuth_deg and elevation_deg",
        )  # fmt: skip
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = [
            {(key or "").strip().lower(): cell.strip() for key, cell in row.items() if isinstance(cell, str)}
            for row in csv.DictReader(file)
        ]
    if not 0 < len(rows) <= MOST_FILES:
        raise SceneError(here, f"it names {len(rows)} files", f"name 1 to {MOST_FILES}")
    by_orbit = "orbit" in rows[0] and "angle_deg" in rows[0]
    if "file" not in rows[0] or not (by_orbit or {"azimuth_deg", "elevation_deg"} <= set(rows[0])):
        raise SceneError(
            here, f"its columns are {', '.join(rows[0])}",
            "write file, orbit and angle_deg, or file, azimuth_deg and elevation_deg",
        )  # fmt: skip
    names, directions, horizontal = [], [], []
    for number, row in enumerate(rows, start=2):
        line = f"{here}, line {number}"
        name = row["file"]
        if not name or not (path.parent / name).resolve().is_relative_to(path.parent.resolve()):
            raise SceneError(line, f'the file is "{name}"', "name a file in the same folder")
        names.append(name)
        if by_orbit:
            if row["orbit"].lower() not in ("horizontal", "vertical"):
                raise SceneError(line, f'the orbit is "{row["orbit"]}"', "write horizontal or vertical")
            turned, level = _angle(row, "angle_deg", line), row["orbit"].lower() == "horizontal"
            directions.append((np.cos(turned), np.sin(turned) * level, np.sin(turned) * (not level)))
            horizontal.append(float(level))
        else:
            azimuth, elevation = _angle(row, "azimuth_deg", line), _angle(row, "elevation_deg", line)
            out = np.cos(elevation)
            directions.append((out * np.cos(azimuth), out * np.sin(azimuth), np.sin(elevation)))
    return names, np.array(directions), np.array(horizontal) if by_orbit else None


def _angle(row: dict[str, str], key: str, line: str) -> float:
    try:
        degrees = float(row.get(key, ""))
    except ValueError:
        degrees = float("nan")
    if not np.isfinite(degrees):
        raise SceneError(line, f'{key} is "{row.get(key, "")}"', "write a number of degrees")
    return float(np.radians(degrees))


def _wav(path: Path, line: str) -> tuple[FloatArray, int]:
    from scipy.io import wavfile

    try:
        rate, samples = wavfile.read(path)
    except FileNotFoundError:
        raise SceneError(line, f'there is no file "{path.name}"', "correct its name, or take the row out") from None
    except (OSError, ValueError, EOFError):
        raise SceneError(line, f'"{path.name}" is not a WAV file that can be read', "export it as PCM WAV") from None
    if samples.ndim > 1:
        raise SceneError(line, f'"{path.name}" has {samples.shape[1]} channels', "export it with one channel")
    scale = float(np.iinfo(samples.dtype).max) if np.issubdtype(samples.dtype, np.integer) else 1.0
    return samples.astype(np.float64) / scale, int(rate)
