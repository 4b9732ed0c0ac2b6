"""What people read off a tape and type: any unit, mixed units, decimal commas, fractions."""

from __future__ import annotations

import re
from typing import Final

from sim.blueprint.units import LARGEST_LENGTH_M, UNIT_M, text_to_metres

_BARE: Final = re.compile(r"[-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")
_BARE_FRACTION: Final = re.compile(r"(?:\d+\s+)?\d+\s*/\s*\d+")
_FEET_THEN_BARE: Final = re.compile(r"(.*(?:'|ft|feet|foot)\s*)((?:\d+(?:\.\d*)?)?\s*(?:\d+\s*/\s*\d+)?)")
_SIGNS: Final = {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8", "⁄": "/"}
_TWO_MARKS: Final = re.compile(r"''|´´|``")
MOST_IN_M: Final = 20.0
"""A bare number above this on a tape in metres is in centimetres: no wall here is that long (common practice)."""
MILLIMETRES_FROM: Final = 1000.0
"""... and from this one on in millimetres."""
REMEDY: Final = 'write 3.41, "340 cm" or "11 ft 2 1/4 in"'


def reading_to_metres(text: str, units: str) -> float:
    r"""Return the length in metres of a reading; a bare number, or a bare fraction, is in `units`.

    "3.41", "3,41 m", "341 cm", "11 ft 2 1/4 in", "11' 2 1/4" and "11'2¼\"" are all readings.

    Raises
    ------
    ValueError
        If it is not a length: what was found and what would work, in one sentence.
    """
    plain = _plain(text)
    if _BARE.fullmatch(plain):
        if re.search(r"\d,\d{3}$", plain):
            raise ValueError(
                f'"{text}" has a comma that could part thousands or decimals; write "." before decimals, or the unit'
            )
        return float(plain.replace(",", ".")) * UNIT_M[units]
    if _BARE_FRACTION.fullmatch(plain):
        plain = f"{plain} {units}"
    elif (feet := _FEET_THEN_BARE.fullmatch(plain)) and feet[2].strip():
        plain = f"{plain} in"
    try:
        return text_to_metres(plain)
    except ValueError as fault:
        if "comma" in str(fault) or "larger unit" in str(fault):
            raise ValueError(str(fault).replace(plain, text.strip())) from None
        raise ValueError(f'"{text.strip()}" is not a length; {REMEDY}') from None


def likely_reading(text: str, units: str) -> tuple[str, str]:
    """Return a reading with the unit it is surely in, and what to say of that; the text itself and "" where nothing is.

    Only a bare number on a tape in metres is ever taken otherwise: 341 are centimetres, 3410 millimetres.
    """
    plain = _plain(text)
    if units != "m" or not _BARE.fullmatch(plain):
        return text.strip(), ""
    number = float(plain.replace(",", "."))
    if number <= MOST_IN_M:
        return text.strip(), ""
    unit = "cm" if number < MILLIMETRES_FROM else "mm"
    if number * UNIT_M[unit] > LARGEST_LENGTH_M:
        return text.strip(), ""
    return f"{number:g} {unit}", f"{plain} is taken as {number:g} {unit}, which is {number * UNIT_M[unit]:.3f} m."


def _plain(text: str) -> str:
    """The reading in small letters, with one kind of marks and fractions, "2-1/4" as "2 1/4"."""
    plain = text.strip().lower()
    for sign, fraction in _SIGNS.items():
        plain = plain.replace(sign, fraction)
    plain = _TWO_MARKS.sub('"', plain.replace("´", "'").replace("`", "'").replace("‘", "'"))
    plain = plain.replace("“", '"').replace("’’", '"')
    plain = re.sub(r"(?<=\d)\s*-\s*(?=\d)", " ", plain) if re.search(r"[/'\"]|ft|in", plain) else plain
    return " ".join(plain.split())
