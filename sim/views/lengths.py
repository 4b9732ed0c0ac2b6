"""Lengths on pictures, in the unit the person wrote the scene in."""

from __future__ import annotations

from typing import Final

from ..blueprint.units import UNIT_M

DECIMALS: Final[dict[str, int]] = {"m": 2, "cm": 0, "mm": 0, "in": 1, "ft": 2}
"""What a tape can tell at a glance: a centimetre, or a tenth of an inch."""
FINE_DECIMALS: Final[dict[str, int]] = {"m": 3, "cm": 1, "mm": 0, "in": 2, "ft": 3}
"""For tables: a millimetre, or a hundredth of an inch."""


def in_unit(metres: float, unit: str) -> float:
    """The number of units in a length in metres."""
    return metres / UNIT_M[unit]


def written(metres: float, unit: str) -> str:
    """Write a length: "4.20 m", "165.4 in"."""
    return f"{number_only(metres, unit)} {unit}"


def number_only(metres: float, unit: str, *, fine: bool = False) -> str:
    """The same without its unit, for columns whose heading names it; fine is for tables."""
    decimals = FINE_DECIMALS[unit] if fine else DECIMALS[unit]
    # Half a step is rounded up as people do; 1.125 is not quite representable and would go down otherwise.
    text = f"{in_unit(metres, unit) + 1e-9:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text
