"""Lengths as a tape shows them: "1.234 m", "48 5/8 in", "4 ft 0 5/8 in"."""

from __future__ import annotations

import math
from typing import Final

from ..blueprint.units import UNIT_M
from ..drawings.lengths import inches_of

METRIC_DECIMALS: Final[dict[str, int]] = {"m": 3, "cm": 1, "mm": 0}


def format_length(metres: float, unit: str) -> str:
    """Write a length in a unit: to a millimetre, or to the nearest sixteenth of an inch.

    A length that is not finite has no mark on a tape and gives an empty text.  Raises KeyError for a unit other than
    m, cm, mm, in and ft.
    """
    per_unit = UNIT_M[unit]
    if not math.isfinite(metres):
        return ""
    if unit in METRIC_DECIMALS:
        text = f"{metres / per_unit:.{METRIC_DECIMALS[unit]}f}"
        return f"{text.removeprefix('-') if float(text) == 0.0 else text} {unit}"
    sign, feet, inches = inches_of(metres, unit)
    return f"{sign}{feet} ft {inches} in" if feet else f"{sign}{inches} in"


def format_small(metres: float, unit: str) -> str:
    """Write a length of a few centimetres: metres become centimetres, feet become inches."""
    return format_length(metres, {"m": "cm", "ft": "in"}.get(unit, unit))
