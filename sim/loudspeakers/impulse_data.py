"""From impulse responses measured around a loudspeaker to directivity on a grid of frequencies.

Each response is compared with that on the axis in bands of 1/24 octave: the magnitude is the root of the ratio of
energies, the phase that of the cross-spectrum, so that notches which all directions share do no harm.  No window is
applied: reflections of the room that the responses hold are taken for the loudspeaker.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.normalising import LARGEST, measured_data

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
    told = list(notes)
    if lowest > LOWEST_HZ * 1.01:
        told.append(f"responses of {lasting_ms:.1f} ms say nothing below {lowest:.0f} Hz")
    told.append("no window was applied to the impulse responses")
    return measured_data(
        directions, frequencies[heard], values[:, heard], has_phase=True, source=source, notes=tuple(told),
        horizontal=horizontal,
    )  # fmt: skip
