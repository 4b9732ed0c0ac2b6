"""Levels: energy and pressure ratios to decibels and back, with silence at -200 dB instead of a warning."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import FloatArray

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
