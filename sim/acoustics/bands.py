"""Octave and third-octave bands (IEC 61260-1:2014, base ten), and how a spectrum is shared out among them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.acoustics.levels import BAND_REFERENCE_HZ, OCTAVE_RATIO
from sim.answers import printable
from sim.arrays import FloatArray, frozen

OCTAVES_HZ: Final[tuple[float, ...]] = (63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000)
"""Nominal mid-band frequencies of the octaves."""

THIRD_OCTAVES_HZ: Final[tuple[float, ...]] = (
    *(50, 63, 80, 100, 125, 160, 200, 250, 315),
    *(400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500),
    *(3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000),
)
"""Nominal mid-band frequencies of the third-octaves that make up those octaves."""


@printable
@dataclass(frozen=True)
class Bands:
    """Neighbouring bands, low to high.

    Attributes
    ----------
    nominal_hz, exact_hz
        (band,) nominal and exact middle of each band in Hz.
    lower_hz, upper_hz
        (band,) its ends in Hz.
    """

    nominal_hz: FloatArray
    exact_hz: FloatArray
    lower_hz: FloatArray
    upper_hz: FloatArray

    def __len__(self) -> int:
        return len(self.nominal_hz)


def octave_bands(lowest_hz: float = 63, highest_hz: float = 16000) -> Bands:
    """Octave bands from one nominal mid frequency to another, both included.

    Raises ValueError when either is not the nominal mid frequency of an octave from 63 Hz to 16 kHz.
    """
    return _bands(OCTAVES_HZ, lowest_hz, highest_hz, bands_per_octave=1, reference=OCTAVES_HZ.index(1000))


def third_octave_bands(lowest_hz: float = 50, highest_hz: float = 20000) -> Bands:
    """Third-octave bands from one nominal mid frequency to another, both included.

    Raises ValueError when either is not the nominal mid frequency of a third-octave from 50 Hz to 20 kHz.
    """
    reference = THIRD_OCTAVES_HZ.index(1000)
    return _bands(THIRD_OCTAVES_HZ, lowest_hz, highest_hz, bands_per_octave=3, reference=reference)


def _bands(
    nominal_hz: tuple[float, ...],
    lowest_hz: float,
    highest_hz: float,
    *,
    bands_per_octave: int,
    reference: int,
) -> Bands:
    for asked in (lowest_hz, highest_hz):
        if asked not in nominal_hz:
            choices = ", ".join(f"{frequency:g}" for frequency in nominal_hz)
            raise ValueError(f"{asked:g} Hz is not a nominal mid frequency; choose from {choices}")
    first, last = nominal_hz.index(lowest_hz), nominal_hz.index(highest_hz)
    if first > last:
        raise ValueError(f"the lowest band ({lowest_hz:g} Hz) lies above the highest ({highest_hz:g} Hz)")
    steps = np.arange(first, last + 1) - reference
    exact = BAND_REFERENCE_HZ * OCTAVE_RATIO ** (steps / bands_per_octave)
    half_band = OCTAVE_RATIO ** (0.5 / bands_per_octave)
    return Bands(
        nominal_hz=frozen(np.array(nominal_hz[first : last + 1], dtype=np.float64)),
        exact_hz=frozen(exact),
        lower_hz=frozen(exact / half_band),
        upper_hz=frozen(exact * half_band),
    )


def sample_frequencies(bands: Bands, points_per_band: int) -> FloatArray:
    """Frequencies in Hz, shape (band, point), evenly spaced on a logarithmic axis inside each band.

    They sit at the middles of equal slices (midpoint rule), so that a plain mean over the points is the mean
    of the band for a source with equal energy in every fraction of an octave.
    """
    if points_per_band < 1:
        raise ValueError(f"{points_per_band} points in a band; at least 1 is needed")
    slices = (np.arange(points_per_band) + 0.5) / points_per_band
    ratio = bands.upper_hz / bands.lower_hz
    frequencies: FloatArray = bands.lower_hz[:, None] * ratio[:, None] ** slices
    return frequencies


def band_weights(frequencies_hz: ArrayLike, bands: Bands, *, overlap: float = 0.5) -> FloatArray:
    """Energy weights, shape (band, f), that share the energy at each frequency out among the bands.

    Multiply a spectrum by the square root of a row to filter it without shifting its phase; multiply an energy
    spectrum by the row itself.  Neighbouring bands are power-complementary: between the middle of the lowest
    band and the middle of the highest the weights sum to 1, so band energies add up to the whole.  Below the
    lowest and above the highest band the weights fall to 0 as if there were further neighbours.

    Each band is flat (1) in its middle, 1/2 (-3 dB) at its edges, and crosses over to its neighbour by
    cos^2 (pi/4 (1 + sin(pi p/2))), p from -1 to 1 over a stretch `overlap` times the band wide, centred on the
    edge, on a logarithmic axis: the smooth edge of Antoni, J. Acoust. Soc. Am. 127 (2010) 884-895.  With the
    overlap of a half the shape lies inside the class 1 limits of IEC 61260:1995; a band rings for roughly the
    inverse of its width, so octave curves resolve no better than 1/(0.7 f).

    Raises ValueError when the overlap is not above 0 and at most 1.
    """
    if not 0.0 < overlap <= 1.0:
        raise ValueError(f"an overlap of {overlap:g} bands; give a value above 0 and up to 1")
    frequencies = np.asarray(frequencies_hz, dtype=np.float64)
    # Position in bands: 0 at the middle of a band, 1/2 at its edges; 0 Hz is infinitely far below.
    audible = np.maximum(frequencies, np.finfo(np.float64).tiny)
    band_width = np.log(bands.upper_hz[0] / bands.lower_hz[0])
    distance = np.abs(np.log(audible[None, :] / bands.exact_hz[:, None])) / band_width
    across = np.clip((distance - 0.5) / (0.5 * overlap), -1.0, 1.0)
    weights: FloatArray = np.cos(0.25 * np.pi * (1.0 + np.sin(0.5 * np.pi * across))) ** 2
    weights[across >= 1.0] = 0.0
    return weights


def transition_frequency_hz(reverberation_time_s: float, volume_m3: float) -> float:
    """2000 sqrt(T/V) in Hz (Schroeder, J. Acoust. Soc. Am. 99 (1996) 3240-3241).

    Below it single room resonances stand apart and a picture of rays says little.  Raises ValueError for a
    reverberation time or a volume that is not above zero.
    """
    if not (reverberation_time_s > 0.0 and volume_m3 > 0.0):
        raise ValueError(
            f"a reverberation time of {reverberation_time_s:g} s in {volume_m3:g} m3; both must be above zero"
        )
    return 2000.0 * float(np.sqrt(reverberation_time_s / volume_m3))


def fade_below(values: FloatArray, highest: float) -> FloatArray:
    """Weights (g,): 1, falling to 0 over the third of an octave below `highest`, 0 above."""
    fraction = np.clip(np.log2(highest / np.maximum(values, 1.0e-9)) * 3.0, 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * fraction) ** 2)
