"""Reference values, each with its unit in the name and its source beside it."""

from __future__ import annotations

from typing import Final

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

Reverberation-room coefficients (ISO 354) can exceed 1 because sound bends round the edges of the sample; no
surface takes more than what arrives.  The value itself is common practice, no source.
"""
