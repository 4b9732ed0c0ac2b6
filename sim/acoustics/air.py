"""Air: how fast sound travels in it and how much of it is lost on the way (ISO 9613-1:1993)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sim.acoustics.levels import (
    GAS_CONSTANT_OF_DRY_AIR_J_KG_K,
    REFERENCE_PRESSURE_KPA,
    REFERENCE_SPEED_OF_SOUND_M_S,
    REFERENCE_TEMPERATURE_K,
    TRIPLE_POINT_K,
    ZERO_CELSIUS_K,
)
from sim.answers import printable
from sim.arrays import FloatArray


@printable
@dataclass(frozen=True)
class Air:
    """The air of one room.

    Attributes
    ----------
    temperature_c
        In degrees Celsius, -20 to 50.
    relative_humidity_percent
        Above 0 and up to 100.
    pressure_kpa
        In kilopascals.

    Raises
    ------
    ValueError
        When a value cannot be the air of a room people work in or a hall without heating.
    """

    temperature_c: float = 20.0
    relative_humidity_percent: float = 50.0
    pressure_kpa: float = REFERENCE_PRESSURE_KPA

    def __post_init__(self) -> None:
        if not -20.0 <= self.temperature_c <= 50.0:
            raise ValueError(
                f"the air temperature is {self.temperature_c:g} C; the formulas of ISO 9613-1 hold from -20 to 50 C"
            )
        if not 0.0 < self.relative_humidity_percent <= 100.0:
            raise ValueError(
                f"the relative humidity is {self.relative_humidity_percent:g} %; give a value above 0 and up to 100"
            )
        if not 50.0 <= self.pressure_kpa <= 200.0:
            raise ValueError(
                f"the air pressure is {self.pressure_kpa:g} kPa; give 50 to 200 kPa (101.325 at sea level)"
            )

    @property
    def temperature_k(self) -> float:
        """Absolute temperature in kelvin."""
        return self.temperature_c + ZERO_CELSIUS_K

    @property
    def speed_of_sound_m_s(self) -> float:
        """343.2 sqrt(T/293.15) (ISO 9613-1:1993, Annex A).

        Humidity is neglected: at 20 C and 50 % it would add some 0.1 to 0.2 %, a millimetre in a metre.
        """
        return REFERENCE_SPEED_OF_SOUND_M_S * float(np.sqrt(self.temperature_k / REFERENCE_TEMPERATURE_K))

    @property
    def density_kg_m3(self) -> float:
        """Density of dry air by the ideal gas law; moisture, which lowers it by under 1 %, is neglected."""
        return 1000.0 * self.pressure_kpa / (GAS_CONSTANT_OF_DRY_AIR_J_KG_K * self.temperature_k)

    @property
    def water_vapour_percent(self) -> float:
        """Molar concentration of water vapour, in percent (ISO 9613-1:1993, equations B.1 to B.3)."""
        exponent = -6.8346 * (TRIPLE_POINT_K / self.temperature_k) ** 1.261 + 4.6151
        saturation = 10.0**exponent
        return float(self.relative_humidity_percent * saturation / (self.pressure_kpa / REFERENCE_PRESSURE_KPA))


def relaxation_frequencies_hz(air: Air) -> tuple[float, float]:
    """Relaxation frequencies of oxygen and of nitrogen, in Hz (ISO 9613-1:1993, equations 3 and 4)."""
    pressure = air.pressure_kpa / REFERENCE_PRESSURE_KPA
    warmth = air.temperature_k / REFERENCE_TEMPERATURE_K
    vapour = air.water_vapour_percent
    oxygen = pressure * (24.0 + 4.04e4 * vapour * (0.02 + vapour) / (0.391 + vapour))
    nitrogen = pressure * warmth**-0.5 * (9.0 + 280.0 * vapour * float(np.exp(-4.170 * (warmth ** (-1.0 / 3.0) - 1.0))))
    return float(oxygen), float(nitrogen)


def attenuation_db_per_m(frequencies_hz: ArrayLike, air: Air) -> FloatArray:
    """Return what air takes from a pure tone on each metre of its way, in dB/m (ISO 9613-1:1993, equation 5).

    `frequencies_hz` may have any shape; the result has the same.  Pressure falls by 10^(-attenuation d/20) over
    d metres.  Over the 5 m of an early reflection this is half a decibel at 8 kHz and nothing below 1 kHz.
    """
    frequencies = np.asarray(frequencies_hz, dtype=np.float64)
    squared = frequencies**2
    pressure = air.pressure_kpa / REFERENCE_PRESSURE_KPA
    warmth = air.temperature_k / REFERENCE_TEMPERATURE_K
    oxygen_hz, nitrogen_hz = relaxation_frequencies_hz(air)
    classical = 1.84e-11 / pressure * np.sqrt(warmth)
    oxygen = 0.01275 * np.exp(-2239.1 / air.temperature_k) / (oxygen_hz + squared / oxygen_hz)
    nitrogen = 0.1068 * np.exp(-3352.0 / air.temperature_k) / (nitrogen_hz + squared / nitrogen_hz)
    attenuation: FloatArray = 8.686 * squared * (classical + warmth**-2.5 * (oxygen + nitrogen))
    return attenuation
