"""Lengths, masses and volumes in sentences: metric, or feet, inches, pounds and cubic feet for a scene in inches.

To no more than a sentence needs: tables and drawings have lengths of their own to a millimetre or a sixteenth.
"""

from __future__ import annotations

import math
from typing import Final

from sim.blueprint.units import UNIT_M

QUARTERS: Final = 4
"""Parts of an inch that a sentence goes to."""
POUND_KG: Final = 0.45359237
"""International pound, exact since 1959."""


def is_imperial(unit: str) -> bool:
    """Whether a scene in this unit is read by someone with an inch tape."""
    return unit in ("in", "ft")


def small_words(metres: float, unit: str, decimals: int = 0) -> str:
    """A length within arm's reach: "12 cm" with so many decimals, or "4 3/4 in" to a quarter of an inch."""
    return _inches(metres) if is_imperial(unit) else f"{100.0 * metres:.{decimals}f} cm"


def length_words(metres: float, unit: str, decimals: int = 2) -> str:
    """A length in a room: "1.20 m" with so many decimals, or "3 ft 11 1/4 in" to a quarter of an inch."""
    if not is_imperial(unit):
        return f"{metres:.{decimals}f} m"
    feet = math.floor(round(abs(metres) / UNIT_M["in"] * QUARTERS) / (12 * QUARTERS))
    rest = abs(metres) - feet * UNIT_M["ft"]
    sign = "-" if metres < 0.0 else ""
    if not feet:
        return _inches(metres)
    inches = _inches(max(rest, 0.0))
    return f"{sign}{feet} ft" if inches == "0 in" else f"{sign}{feet} ft {inches}"


def thickness_words(metres: float, unit: str) -> str:
    """A thickness or a gap: "50 mm", or "2 in" to a quarter of an inch."""
    return _inches(metres) if is_imperial(unit) else f"{1000.0 * metres:.0f} mm"


def difference_words(metres: float, unit: str) -> str:
    """A small difference with its sign: "+12 mm", or "-1/2 in"."""
    return f"{'-' if metres < 0.0 else '+'}{thickness_words(abs(metres), unit)}"


def mass_words(kilograms: float, unit: str, decimals: int = 0) -> str:
    """A mass: "7 kg" with so many decimals, or whole pounds."""
    return f"{kilograms / POUND_KG:.0f} lb" if is_imperial(unit) else f"{kilograms:.{decimals}f} kg"


def volume_words(cubic_metres: float, unit: str, decimals: int = 0) -> str:
    """A volume: "34 m3" with so many decimals, or whole cubic feet."""
    if is_imperial(unit):
        return f"{cubic_metres / UNIT_M['ft'] ** 3:.0f} cubic feet"
    return f"{cubic_metres:.{decimals}f} m3"


def _inches(metres: float) -> str:
    quarters = round(abs(metres) / UNIT_M["in"] * QUARTERS)
    whole, part = divmod(quarters, QUARTERS)
    sign = "-" if metres < 0.0 and quarters else ""
    fraction = {0: "", 1: "1/4", 2: "1/2", 3: "3/4"}[part]
    number = f"{whole} {fraction}".strip() if whole or not fraction else fraction
    return f"{sign}{number} in"
