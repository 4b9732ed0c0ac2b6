"""Direct sound of one loudspeaker at points of the room, and how even it is over the head box.

Each driver radiates from its own place with its own directivity; their complex pressures add up.  Left out: everything
else in the room, and what the air takes, which over the length of a head box is less than a hundredth of a decibel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..acoustics.bands import Bands, sample_frequencies
from ..acoustics.decibels import level_db
from ..answers import printable
from ..arrays import ComplexArray, FloatArray, frozen
from ..placement.poses import PlacedLoudspeaker

POINTS_IN_AN_OCTAVE: Final = 12
GRID: Final = (7, 7, 3)
"""Points of the head box: depth, across, up; odd, so that its middle is one of them."""


@printable
@dataclass(frozen=True, slots=True)
class Evenness:
    """How much the direct sound differs over the head box.

    Attributes
    ----------
    bands
        The bands.
    pattern_db
        (band,) largest less smallest level over the box, the spreading from the acoustic axis point taken out: what
        the loudspeaker's own pattern does.
    across_db, up_db
        (band,) the same over the line from left to right, and over that from low to high, through the middle of the
        box.
    heard_db
        (band,) largest less smallest level as it is, with the spreading.
    low_db, high_db
        (band,) lowest and highest level of the pattern re the middle of the box.
    """

    bands: Bands
    pattern_db: FloatArray
    across_db: FloatArray
    up_db: FloatArray
    heard_db: FloatArray
    low_db: FloatArray
    high_db: FloatArray


def head_points(ear: FloatArray, head_box: FloatArray, counts: tuple[int, int, int] = GRID) -> FloatArray:
    """Points (depth, across, up, 3) of a grid over a box of full sizes (3,) round the ear (3,)."""
    steps = [np.linspace(-0.5, 0.5, count) * size for count, size in zip(counts, head_box, strict=True)]
    return np.asarray(ear + np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1))


def direct_pressure(
    placed: PlacedLoudspeaker, points: FloatArray, frequencies_hz: FloatArray, speed_of_sound_m_s: float
) -> ComplexArray:
    """Complex pressure (m, f) at points (m, 3): sum over drivers of radiation times e^{-jkr}/r, 1 at 1 m ahead."""
    total = np.zeros((len(points), len(frequencies_hz)), dtype=np.complex128)
    for number, source in enumerate(placed.driver_points):
        way = points - source
        length = np.linalg.norm(way, axis=1)
        radiated = placed.model.driver_radiation(
            number, placed.to_box(way / length[:, None]), frequencies_hz, speed_of_sound_m_s
        )
        phase = -2j * np.pi / speed_of_sound_m_s * np.multiply.outer(length, frequencies_hz)
        total += radiated * np.exp(phase) / length[:, None]
    return total


def band_levels_db(
    placed: PlacedLoudspeaker, points: FloatArray, bands: Bands, speed_of_sound_m_s: float
) -> FloatArray:
    """Energy mean of the direct sound over each band, (m, band), in dB re 1 m on the axis."""
    per_band = max(4, round(POINTS_IN_AN_OCTAVE * float(np.log2(bands.upper_hz[0] / bands.lower_hz[0]))))
    frequencies = sample_frequencies(bands, per_band)
    pressure = direct_pressure(placed, points, frequencies.ravel(), speed_of_sound_m_s)
    energy = np.abs(pressure.reshape(len(points), *frequencies.shape)) ** 2
    return level_db(energy.mean(axis=2))


def pattern_levels_db(
    placed: PlacedLoudspeaker, points: FloatArray, bands: Bands, speed_of_sound_m_s: float
) -> FloatArray:
    """Levels (..., band) at points (..., 3) with the spreading from the acoustic axis point taken out."""
    flat = points.reshape(-1, 3)
    levels = band_levels_db(placed, flat, bands, speed_of_sound_m_s)
    away = np.linalg.norm(flat - placed.axis_point, axis=1)
    pattern: FloatArray = levels + 20.0 * np.log10(away)[:, None]
    return pattern.reshape(*points.shape[:-1], len(bands))


def evenness(
    placed: PlacedLoudspeaker, ear: FloatArray, head_box: FloatArray, bands: Bands, speed_of_sound_m_s: float
) -> Evenness:
    """How even the direct sound of a loudspeaker is over the head box."""
    points = head_points(ear, head_box)
    pattern = pattern_levels_db(placed, points, bands, speed_of_sound_m_s)
    away = np.linalg.norm(points - placed.axis_point, axis=-1)
    heard = pattern - 20.0 * np.log10(away)[..., None]
    depth, across, up = (count // 2 for count in GRID)
    middle = pattern[depth, across, up]
    return Evenness(
        bands, frozen(np.ptp(pattern, axis=(0, 1, 2))), frozen(np.ptp(pattern[depth, :, up], axis=0)),
        frozen(np.ptp(pattern[depth, across], axis=0)), frozen(np.ptp(heard, axis=(0, 1, 2))),
        frozen(pattern.min(axis=(0, 1, 2)) - middle), frozen(pattern.max(axis=(0, 1, 2)) - middle),
    )  # fmt: skip
