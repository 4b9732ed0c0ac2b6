"""Reference values with their sources, and levels in decibels with silence at -200 dB instead of a warning."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import FloatArray

REFERENCE_PRESSURE_KPA: Final = 101.325
"""Standard ambient pressure (ISO 9613-1:1993, clause 4)."""

REFERENCE_TEMPERATURE_K: Final = 293.15
"""20 C, the reference temperature of ISO 9613-1:1993."""

TRIPLE_POINT_K: Final = 273.16
"""Triple-point isotherm of water (ISO 9613-1:1993, Annex B)."""

ZERO_CELSIUS_K: Final = 273.15
"""By definition of the degree Celsius."""

REFERENCE_SPEED_OF_SOUND_M_S: Final = 343.2
"""In dry air at 20 C (ISO 9613-1:1993, Annex A)."""

GAS_CONSTANT_OF_DRY_AIR_J_KG_K: Final = 287.05
"""Specific gas constant of dry air (ISO 2533:1975, standard atmosphere, 287.052 87 rounded)."""

HEARING_REFERENCE_PA: Final = 20e-6
"""Reference sound pressure in air (ISO 1683:2015)."""

OCTAVE_RATIO: Final = 10.0**0.3
"""Frequency ratio of one octave in the base-ten system (IEC 61260-1:2014, 5.2)."""

BAND_REFERENCE_HZ: Final = 1000.0
"""Reference frequency of octave and third-octave bands (IEC 61260-1:2014, 5.3)."""

HIGHEST_LAB_ABSORPTION: Final = 0.99
"""Random-incidence coefficients above this are cut to it before they become a reflection factor.

Reverberation-room coefficients (ISO 354) can exceed 1 because of diffraction at the edges of the sample; no
surface takes more than what arrives.  The value itself is common practice, no source.
"""


# Levels: energy and pressure ratios to decibels and back, with silence at -200 dB instead of a warning.

SILENCE_DB: Final = -200.0
"""What a ratio of zero is called: far below anything a room or a 24-bit converter can hold."""

_SILENT_ENERGY: Final = 10.0 ** (SILENCE_DB / 10.0)
_SILENT_PRESSURE: Final = 10.0 ** (SILENCE_DB / 20.0)


def level_db(energy_ratio: ArrayLike) -> FloatArray:
    """10 lg of an energy ratio of any shape; zero (and rounding just below it) becomes -200 dB."""
    energy = np.asarray(energy_ratio, dtype=np.float64)
    level: FloatArray = 10.0 * np.log10(np.maximum(energy, _SILENT_ENERGY))
    return level


def pressure_level_db(pressure_ratio: ArrayLike) -> FloatArray:
    """20 lg of the magnitude of a real or complex pressure ratio of any shape; zero becomes -200 dB."""
    magnitude = np.abs(np.asarray(pressure_ratio))
    level: FloatArray = 20.0 * np.log10(np.maximum(magnitude, _SILENT_PRESSURE))
    return level


def energy_from_db(level: ArrayLike) -> FloatArray:
    """Energy ratio 10^(level/10) of a level in dB, any shape."""
    energy: FloatArray = np.power(10.0, np.asarray(level, dtype=np.float64) / 10.0)
    return energy


def pressure_from_db(level: ArrayLike) -> FloatArray:
    """Pressure ratio 10^(level/20) of a level in dB, any shape."""
    pressure: FloatArray = np.power(10.0, np.asarray(level, dtype=np.float64) / 20.0)
    return pressure
