r"""Lengths as people write them: a number in the file's unit, or a text with its own unit.

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
