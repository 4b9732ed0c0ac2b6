"""Lengths as they stand on drawings: bare millimetres, or feet and inches to a sixteenth."""

from __future__ import annotations

import math
from typing import Final

from ..blueprint.units import UNIT_M

SIXTEENTHS: Final = 16
"""Finest mark on a common inch tape (common practice, no source)."""


def drawn_length(metres: float, unit: str) -> str:
    """Write a length for a drawing of a scene in `unit`: "690", 27 3/16", or 2'-3 3/16" for feet.

    Whole millimetres for m, cm and mm, as drawings for builders have them (ISO 129-1 leaves the unit out and tells it
    once on the sheet).  A length that is not finite gives an empty text.
    """
    if not math.isfinite(metres):
        return ""
    if unit not in ("in", "ft"):
        return str(round(1000.0 * metres + 1e-6))
    sign, feet, inches = inches_of(metres, unit)
    return f"{sign}{feet}'-{inches}\"" if feet else f'{sign}{inches}"'


def inches_of(metres: float, unit: str) -> tuple[str, int, str]:
    """Sign, whole feet (none for a unit of inches) and inches to the nearest sixteenth, as a person writes them."""
    sixteenths = round(abs(metres) / UNIT_M["in"] * SIXTEENTHS)
    sign = "-" if metres < 0.0 and sixteenths else ""
    feet, rest = divmod(sixteenths, 12 * SIXTEENTHS) if unit == "ft" else (0, sixteenths)
    return sign, feet, _with_fraction(rest, keep_zero=feet > 0)


def drawn_area_size(first_m: float, second_m: float, unit: str) -> str:
    """Two sides of a rectangle: "600 x 1200"."""
    return f"{drawn_length(first_m, unit)} x {drawn_length(second_m, unit)}"


def unit_words(unit: str) -> str:
    """Say once on a sheet what its lengths are in."""
    return {
        "in": "Lengths in inches, to 1/16",
        "ft": "Lengths in feet and inches, to 1/16",
    }.get(unit, "Lengths in millimetres")


def _with_fraction(sixteenths: int, keep_zero: bool) -> str:
    whole, above = divmod(sixteenths, SIXTEENTHS)
    if above == 0:
        return str(whole)
    shared = math.gcd(above, SIXTEENTHS)
    fraction = f"{above // shared}/{SIXTEENTHS // shared}"
    return f"{whole} {fraction}" if whole or keep_zero else fraction
