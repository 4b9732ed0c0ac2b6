r"""Lengths as people write them: a number in the file's unit, or a text with its own unit.

`2.4`, `"240 cm"`, `"24 in"`, `"7 ft 10 1/2 in"` and `"7' 10 1/2\""` are all lengths.  Everything inside the
program is in metres.  Factors: international foot and inch (exact since 1959), SI prefixes.
"""

from __future__ import annotations

import math
import re
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo, WithJsonSchema

UNIT_M: dict[str, float] = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}
_ALIASES = {
    "'": "ft",
    '"': "in",
    "″": "in",
    "′": "ft",
    "inch": "in",
    "inches": "in",
    "feet": "ft",
    "foot": "ft",
}
_PART = re.compile(
    r"\s*(?P<number>\d+(?:[.,]\d+)?|\.\d+)?(?:\s*(?P<above>\d+)\s*/\s*(?P<below>\d+))?"
    r"\s*(?P<unit>mm|cm|m|inches|inch|in|feet|foot|ft|'|\"|″|′)"
)
_FRACTION_ONLY = re.compile(r"\s*(?P<above>\d+)\s*/\s*(?P<below>\d+)\s*(?P<unit>in|inch|\"|″)\s*$")


def text_to_metres(text: str) -> float:
    """Return the length in metres that a text such as "24 in" names.

    Raises
    ------
    ValueError
        If the text is not a number followed by one of m, cm, mm, in, ft (feet may be followed by inches).
    """
    stripped = text.strip()
    sign = -1.0 if stripped.startswith("-") else 1.0
    rest = stripped.lstrip("+-")
    fraction = _FRACTION_ONLY.fullmatch(rest)
    if fraction and int(fraction["below"]):
        return sign * int(fraction["above"]) / int(fraction["below"]) * UNIT_M["in"]
    total, position = 0.0, 0
    while position < len(rest):
        part = _PART.match(rest, position)
        if part is None or (part["number"] is None and part["above"] is None):
            raise ValueError(
                f'"{text}" is not a length; write a number and a unit, such as "600 mm" or "24 in"'
            )
        number = float((part["number"] or "0").replace(",", "."))
        if part["above"] and int(part["below"]):
            number += int(part["above"]) / int(part["below"])
        total += number * UNIT_M[_ALIASES.get(part["unit"], part["unit"])]
        position = part.end()
        while position < len(rest) and rest[position].isspace():
            position += 1
    if not rest:
        raise ValueError('an empty text is not a length; write a number and a unit, such as "600 mm"')
    return sign * total


def _to_metres(value: Any, info: ValidationInfo) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError('not a length; write a number in the file\'s unit or a text such as "600 mm"')
    if isinstance(value, str):
        return text_to_metres(value)
    if not math.isfinite(value):
        raise ValueError("not a finite number; measure again and write the length")
    unit = (info.context or {}).get("unit", "m")
    return float(value) * UNIT_M[unit]


_SCHEMA = WithJsonSchema(
    {
        "anyOf": [
            {"type": "number"},
            {"type": "string", "pattern": r"^\s*[-+]?[\d.,/ ]+\s*(mm|cm|m|in|ft|'|\").*$"},
        ]
    }
)
Length = Annotated[float, BeforeValidator(_to_metres), _SCHEMA]
PositiveLength = Annotated[float, BeforeValidator(_to_metres), Field(gt=0.0), _SCHEMA]
NonNegativeLength = Annotated[float, BeforeValidator(_to_metres), Field(ge=0.0), _SCHEMA]
