r"""Units of length and temperature as a scene writes them, and lengths, masses and volumes in sentences.

`2.4`, `"240 cm"`, `"24 in"`, `"7 ft 10 1/2 in"` and `"7' 10 1/2\""` are all lengths.  Everything inside the
program is in metres.  Factors: international foot and inch (exact since 1959), SI prefixes.

Every ValueError raised here and in the other records reads "what was found; what would work".
"""

from __future__ import annotations

import math
import re
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field, ValidationInfo, WithJsonSchema

UNIT_M: Final[dict[str, float]] = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}
LARGEST_LENGTH_M: Final = 60.0
"""A distance in a control room that is longer than this is a unit mistake (common practice, no source)."""
LIKELY_ROOM_M: Final = (1.8, 15.0)
LIKELY_LENGTH_M: Final = (0.05, 15.0)
"""What makes a unit a likely guess for the size of a room, and for any distance (common practice, no source)."""
ROUNDING_DIGITS: Final = 9
"""Lengths are kept to a nanometre, so that 340 cm, 3.40 m and 133.858267717 in are the same number."""

NOT_A_LENGTH: Final = "it is not a length"

_ALIASES = {
    **dict.fromkeys(("metres", "metre", "meters", "meter"), "m"),
    **dict.fromkeys(("'", "′", "’", "feet", "foot"), "ft"),
    **dict.fromkeys(('"', "″", "”", "inch", "inches"), "in"),
}
_NUMBER = re.compile(
    r"(?P<whole>\d+(?:[.,]\d*)?|[.,]\d+)(?![\d/])(?:\s+(?P<above>\d+)\s*/\s*(?P<below>\d+))?"
    r"|(?P<only_above>\d+)\s*/\s*(?P<only_below>\d+)"
)
_UNIT = re.compile(r"\s*(?P<unit>mm|cm|metres|metre|meters|meter|m|inches|inch|in|feet|foot|ft|['\"″′’”])(?![a-z])\s*")
_THOUSANDS = re.compile(r"\d,\d{3}(?!\d)")
_REMEDY = 'write a number and a unit (m, cm, mm, in, ft), such as "600 mm", "24 in" or "7 ft 10 1/2 in"'


def text_to_metres(text: str) -> float:
    """Return the length in metres that a text such as "24 in" names.

    Parts may follow each other from the larger unit to the smaller one.  A comma is a decimal comma, but is
    refused before exactly three digits, where it could also part thousands.

    Raises
    ------
    ValueError
        If the text is not a number followed by one of m, cm, mm, in, ft (feet may be followed by inches).
    """
    rest = text.strip()
    sign = -1.0 if rest.startswith("-") else 1.0
    rest = rest[1:].strip() if rest[:1] in ("-", "+") else rest
    if not rest:
        raise ValueError(f'"{text}" is not a length; {_REMEDY}')
    if _THOUSANDS.search(rest):
        raise ValueError(
            f'"{text}" has a comma that could part thousands or decimals; '
            'write no thousands separator, and "." before decimals'
        )
    total, position, last_unit_m = 0.0, 0, math.inf
    while position < len(rest):
        number = _NUMBER.match(rest, position)
        unit = _UNIT.match(rest, number.end()) if number else None
        if number is None or unit is None:
            raise ValueError(f'"{text}" is not a length; {_REMEDY}')
        unit_m = UNIT_M[_ALIASES.get(unit["unit"], unit["unit"])]
        if unit_m >= last_unit_m:
            raise ValueError(f'"{text}" is not a length; write the larger unit first, each unit once')
        total += _value(number, text) * unit_m
        position, last_unit_m = unit.end(), unit_m
    return round(sign * total, ROUNDING_DIGITS)


def likely_units(value: float, besides: str, between_m: tuple[float, float]) -> list[str]:
    """Return the units in which a number would be a likely length, metric ones first."""
    low, high = between_m
    return [unit for unit, unit_m in UNIT_M.items() if unit != besides and low <= abs(value) * unit_m <= high]


def _value(number: re.Match[str], text: str) -> float:
    value = float(number["whole"].replace(",", ".")) if number["whole"] else 0.0
    above, below = number["above"] or number["only_above"], number["below"] or number["only_below"]
    if above:
        if int(below) == 0:
            raise ValueError(f'"{text}" divides by zero; {_REMEDY}')
        value += int(above) / int(below)
    return value


def _to_metres(value: Any, info: ValidationInfo) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(f'{NOT_A_LENGTH}; write a number in the file\'s unit or a text such as "600 mm"')
    unit = (info.context or {}).get("unit", "m")
    if isinstance(value, str):
        metres = text_to_metres(value)
    else:
        try:
            metres = round(float(value) * UNIT_M[unit], ROUNDING_DIGITS)
        except OverflowError:
            metres = math.inf
        if not math.isfinite(metres):
            found = "nan (not a number)" if math.isnan(metres) else "infinite"
            raise ValueError(f"it is {found}; write a finite length, such as 2.40")
    if abs(metres) > LARGEST_LENGTH_M:
        raise ValueError(_too_long(value, metres, unit))
    return metres


def _too_long(value: int | float | str, metres: float, unit: str) -> str:
    found = f"it is {metres:.6g} m" if isinstance(value, str) or unit == "m" else f"it is {value:g} {unit}"
    found += f", longer than any room here ({LARGEST_LENGTH_M:g} m)"
    guesses = [] if isinstance(value, str) else likely_units(value, unit, LIKELY_LENGTH_M)[:3]
    if isinstance(value, str) or not guesses:
        return f"{found}; {_REMEDY}"
    written = " or ".join(f'"{value:g} {guess}" ({value * UNIT_M[guess]:.3g} m)' for guess in guesses)
    settings = " or ".join(f'units = "{guess}"' for guess in guesses)
    return f"{found}; is it in another unit? write {written}, or set {settings} at the top for the whole file"


_LENGTH_TEXT = {"type": "string", "pattern": r"^\s*[-+]?[\d.,/ ]+\s*(mm|cm|m|in|ft|foot|feet|['\"\u2032\u2033]).*$"}


def _schema(**limits: float) -> WithJsonSchema:
    return WithJsonSchema({"anyOf": [{"type": "number", **limits}, _LENGTH_TEXT]})


Length = Annotated[float, BeforeValidator(_to_metres), _schema()]
PositiveLength = Annotated[float, BeforeValidator(_to_metres), Field(gt=0.0), _schema(exclusiveMinimum=0.0)]
NonNegativeLength = Annotated[float, BeforeValidator(_to_metres), Field(ge=0.0), _schema(minimum=0.0)]


# Lengths, masses and volumes in sentences: metric, or feet, inches, pounds and cubic feet for a scene in inches.
#
# To no more than a sentence needs, 5 mm or a quarter of an inch: tables and drawings have lengths of their own to a
# millimetre or a sixteenth (`sim.showing.numbers`).

STEP_M: Final = 0.005
"""What a metric length in a sentence is rounded to."""
NOTHING_M: Final = 1e-6
"""A length below this is none."""

QUARTERS: Final = 4
"""Parts of an inch that a sentence goes to."""
POUND_KG: Final = 0.45359237
"""International pound, exact since 1959."""


def is_imperial(unit: str) -> bool:
    """Whether a scene in this unit is read by someone with an inch tape."""
    return unit in ("in", "ft")


def small_words(metres: float, unit: str) -> str:
    """A length within arm's reach: "12 cm" or "12.5 cm", to 5 mm; "4 3/4 in", to a quarter of an inch.

    What is rounded to nothing is "less than 0.5 cm" or "less than 1/4 in"; what is not finite gives an empty text.
    """
    if not math.isfinite(metres):
        return ""
    text = _inches(metres) if is_imperial(unit) else f"{100.0 * _rounded(metres):g} cm"
    if text in ("0 in", "0 cm") and abs(metres) > NOTHING_M:
        return "less than 1/4 in" if is_imperial(unit) else "less than 0.5 cm"
    return text


def length_words(metres: float, unit: str) -> str:
    """A length in a room: "1.20 m" or "1.205 m", to 5 mm; "3 ft 11 1/4 in", to a quarter of an inch.

    What is not finite gives an empty text.
    """
    if not math.isfinite(metres):
        return ""
    if not is_imperial(unit):
        return f"{_rounded(metres):.3f}".removesuffix("0") + " m"
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
    """A mass: "7 kg" with so many decimals, or pounds, with a tenth below ten where decimals are asked for."""
    if not is_imperial(unit):
        return f"{kilograms:.{decimals}f} kg"
    pounds = kilograms / POUND_KG
    return f"{pounds:.{1 if decimals and pounds < 9.95 else 0}f} lb"


def volume_words(cubic_metres: float, unit: str, decimals: int = 0) -> str:
    """A volume: "34 m3" with so many decimals, or whole cubic feet."""
    if is_imperial(unit):
        return f"{cubic_metres / UNIT_M['ft'] ** 3:.0f} cubic feet"
    return f"{cubic_metres:.{decimals}f} m3"


def _rounded(metres: float) -> float:
    return round(metres / STEP_M) * STEP_M + 0.0


def _inches(metres: float) -> str:
    quarters = round(abs(metres) / UNIT_M["in"] * QUARTERS)
    whole, part = divmod(quarters, QUARTERS)
    sign = "-" if metres < 0.0 and quarters else ""
    fraction = {0: "", 1: "1/4", 2: "1/2", 3: "3/4"}[part]
    number = f"{whole} {fraction}".strip() if whole or not fraction else fraction
    return f"{sign}{number} in"
