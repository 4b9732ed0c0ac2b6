"""Values of a number that varies, as a person writes them: "-10:15:1", "0.5:0.9:5cm", "1.1,1.2,1.3"."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from ..arrays import FloatArray, frozen
from ..blueprint.schema import Blueprint
from ..blueprint.units import ROUNDING_DIGITS
from ..errors import SceneError
from .field_values import read_value
from .fields import Field, find_field
from .sweep_records import Axis

MOST_POINTS: Final = 200_000
"""More layouts than this are a slip of the pen, or a job for a search (common practice, no source)."""
WHOLE_STEPS: Final = 1.0e-6
"""A range that ends this share of a step before its last value still has it."""

Values = str | Sequence[float | str]
"""A range or list in one text, or a list of numbers in the unit of the scene or of texts with units."""


def read_axis(blueprint: Blueprint, name: str, values: Values, *, tied: bool = True) -> tuple[Axis, Field]:
    """Read one field and its values.

    Raises
    ------
    SceneError
        If there is no such field, a value is not one of its kind, the range is empty, or its step is zero or runs the
        other way.
    """
    field = find_field(blueprint, name, tied=tied)
    units = blueprint.units
    if isinstance(values, str) and ":" in values:
        numbers = _range(field, values, units)
    else:
        texts = values.split(",") if isinstance(values, str) else [str(each) for each in values]
        if not any(text.strip() for text in texts):
            raise SceneError(name, "it has no values", f"write a range, {name}=FROM:TO:STEP, or a list, {name}=A,B,C")
        numbers = np.array([_finite(field, text, units) for text in texts])
    rounded = np.round(numbers, ROUNDING_DIGITS) + 0.0
    if len(np.unique(rounded)) < len(rounded):
        raise SceneError(name, "it has the same value twice", "write each value once")
    unit = {"length": units, "degrees": "degrees"}.get(field.kind, "")
    return Axis(name, _words(blueprint, field), unit, frozen(rounded)), field


def _range(field: Field, text: str, units: str) -> FloatArray:
    parts = [part.strip() for part in text.split(":")]
    if len(parts) != 3 or not all(parts):
        raise SceneError(
            field.name, f'"{text}" is no range', f"write FROM:TO:STEP, such as {field.name}={_example(field, units)}"
        )
    start, stop, step = (_finite(field, part, units) for part in parts)
    if step == 0.0:
        raise SceneError(field.name, f'the step of "{text}" is zero', "write a step such as 1, or a list of values")
    if (stop - start) * step < 0.0:
        turned = parts[2][1:] if parts[2].startswith("-") else f"-{parts[2]}"
        raise SceneError(
            field.name,
            f'the range "{text}" is empty: its step runs the other way',
            f"write {parts[0]}:{parts[1]}:{turned}, or put the smaller value first",
        )
    steps = (stop - start) / step
    if steps >= MOST_POINTS:
        raise SceneError(
            field.name, f'"{text}" has {steps + 1:,.0f} values', f"take a larger step; {MOST_POINTS:,} are the most"
        )
    return np.asarray(start + step * np.arange(int(steps + WHOLE_STEPS) + 1))


def _finite(field: Field, text: str, units: str) -> float:
    value = read_value(field, text.strip(), units)
    if not np.isfinite(value):
        raise SceneError(field.name, f'"{text.strip()}" is no number', "write a finite one")
    return value


def _example(field: Field, units: str) -> str:
    if field.kind == "degrees":
        return "-10:15:1"
    return {"m": "0.5:0.9:0.05", "cm": "50:90:5", "mm": "500:900:50", "in": "20:36:2", "ft": "2:3:0.25"}[units]


def _words(blueprint: Blueprint, field: Field) -> str:
    """The field's name, and who moves along."""
    if len(field.places) < 2:
        return field.name
    return f"{field.name}, {blueprint.loudspeakers[int(field.places[1][1])].name} with it"
