"""The statistical room: decay times, mean free path and levels where sound comes evenly from everywhere.

All of it takes a field that is diffuse: many directions alike, absorption spread evenly, a room large against the
wavelength.  Small damped rooms are none of that; there these numbers are for comparison only.
Formulas: Kuttruff, Room Acoustics; Eyring, J. Acoust. Soc. Am. 1 (1930) 217; Millington, J. Acoust. Soc. Am. 4 (1932)
69; Fitzroy, J. Acoust. Soc. Am. 31 (1959) 893; Arau-Puchades, Acustica 65 (1988) 163.

Areas are (surface,) in m2, absorption coefficients (surface, band) or (surface,), `air_per_m` what air takes from the
energy on each metre, (band,) or a number.  Results are (band,) or a number, in seconds unless said.  A room that takes
nothing has an infinite decay time.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from sim.acoustics.air import Air, attenuation_db_per_m
from sim.arrays import FloatArray

SIXTY_DB = 6.0 * math.log(10.0)
"""Natural logarithm of the energy ratio of 60 dB."""


def air_energy_loss_per_m(frequencies_hz: ArrayLike, air: Air) -> FloatArray:
    """Share m of the energy that air takes on each metre (1/m), from the attenuation of ISO 9613-1."""
    return np.asarray(attenuation_db_per_m(frequencies_hz, air) / (10.0 * math.log10(math.e)))


def mean_free_path_m(volume_m3: float, surface_m2: float) -> float:
    """4V/S: mean way between two hits in a room of any shape with diffuse sound (Kuttruff, chapter 5)."""
    return 4.0 * volume_m3 / surface_m2


def decay_time_s(
    volume_m3: float, absorption_area_m2: ArrayLike, speed_m_s: float, *, air_per_m: ArrayLike = 0.0
) -> FloatArray:
    """24 ln 10/c V/(A + 4 m V): the decay time that belongs to an absorption area of any theory."""
    taken = np.asarray(absorption_area_m2, dtype=np.float64) + 4.0 * np.asarray(air_per_m) * volume_m3
    with np.errstate(divide="ignore"):
        return np.asarray(4.0 * SIXTY_DB / speed_m_s * volume_m3 / taken)


def sabine_area_m2(areas_m2: ArrayLike, absorption: ArrayLike) -> FloatArray:
    """Sum of S a: each surface takes its share from sound that all see alike (Sabine)."""
    return np.asarray(np.asarray(areas_m2, dtype=np.float64) @ np.asarray(absorption, dtype=np.float64))


def eyring_area_m2(areas_m2: ArrayLike, absorption: ArrayLike) -> FloatArray:
    """-S ln(1 - mean a): every sound meets the mean surface once a free path (Eyring 1930)."""
    areas = np.asarray(areas_m2, dtype=np.float64)
    whole = float(areas.sum())
    return np.asarray(whole * _log_area(sabine_area_m2(areas, absorption) / whole))


def millington_area_m2(areas_m2: ArrayLike, absorption: ArrayLike) -> FloatArray:
    """-Sum of S ln(1 - a): one surface with a = 1 ends all decay, which is its flaw (Millington 1932)."""
    return np.asarray(np.asarray(areas_m2, dtype=np.float64) @ _log_area(np.asarray(absorption, dtype=np.float64)))


def fitzroy_s(volume_m3: float, pair_areas_m2: ArrayLike, absorption: ArrayLike, speed_m_s: float) -> FloatArray:
    """Arithmetic mean, by area, of the Eyring times of the three pairs of walls of a box (Fitzroy 1959).

    `pair_areas_m2` (3,) are the areas of both walls facing each axis, `absorption` (3,) or (3, band) their means.
    """
    fraction, axial = _axial(volume_m3, pair_areas_m2, absorption, speed_m_s)
    return np.asarray(fraction @ axial)


def arau_s(volume_m3: float, pair_areas_m2: ArrayLike, absorption: ArrayLike, speed_m_s: float) -> FloatArray:
    """Geometric mean, by area, of the same three times (Arau-Puchades 1988); arguments as `fitzroy_s`."""
    fraction, axial = _axial(volume_m3, pair_areas_m2, absorption, speed_m_s)
    return np.asarray(np.exp(fraction @ np.log(axial)))


def critical_distance_m(absorption_area_m2: float, directivity: float = 1.0) -> float:
    """sqrt(Q A/(16 pi)): where direct and diffuse sound are equally strong; Q of the direction looked at."""
    return math.sqrt(directivity * absorption_area_m2 / (16.0 * math.pi))


def steady_level_db(distance_m: float, absorption_area_m2: float, directivity: float = 1.0) -> float:
    """10 lg(Q/(4 pi r^2) + 4/A): steady level re the power level of the source (Kinsler et al., chapter 12)."""
    direct = directivity / (4.0 * math.pi * distance_m**2)
    return 10.0 * math.log10(direct + 4.0 / absorption_area_m2)


def _axial(
    volume_m3: float, pair_areas_m2: ArrayLike, absorption: ArrayLike, speed_m_s: float
) -> tuple[FloatArray, FloatArray]:
    """Share of each pair in the whole surface, and the time the room had if all of it were like that pair."""
    areas = np.asarray(pair_areas_m2, dtype=np.float64)
    whole = float(areas.sum())
    axial = decay_time_s(volume_m3, whole * _log_area(np.asarray(absorption, dtype=np.float64)), speed_m_s)
    return areas / whole, axial


def _log_area(absorption: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore"):
        return np.asarray(-np.log1p(-absorption))
