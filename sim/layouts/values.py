"""Values of fields as a person writes them: read, found in a scene, laid into it, or run over a range."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np
from pydantic import ValidationError

from sim.arrays import FloatArray, frozen
from sim.blueprint.schema import Blueprint
from sim.blueprint.units import ROUNDING_DIGITS, UNIT_M, text_to_metres
from sim.errors import SceneError
from sim.layouts.fields import (
    SIZES,
    Field,
    Path,
    find_field,
    part_at,
    porous_thickness_m,
    with_porous_thickness,
    words_of,
)
from sim.layouts.records import Axis

LIMITS: Final = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}
UNITS: Final = {"length": " m", "degrees": " degrees", "number": ""}


def fault_of(name: str, kind: str, value: float, refused: ValidationError) -> SceneError:
    """Return the one error that a refused value of a field makes."""
    given, unit = f"{name} = {value:g}{UNITS[kind]}", UNITS[kind]
    problem = refused.errors(include_url=False)[0]
    limit, words = LIMITS.get(problem["type"], ("", ""))
    if limit:
        bound = f"{words} {problem.get('ctx', {})[limit]:g}{unit}"
        return SceneError(given, "it cannot have this value", f"it must be {bound}")
    if problem["type"] == "finite_number":
        return SceneError(given, "it is no finite number", "choose another value")
    found, _, remedy = problem["msg"].removeprefix("Value error, ").partition("; ")
    if "longer than any room" in found:  # a guess at another unit helps in a file, not here
        remedy = "choose a smaller value"
    return SceneError(given, found[:1].lower() + found[1:].rstrip("."), remedy.rstrip(".") or "choose another value")


# Values of fields: read as a person writes them, found in a scene, laid into it.


def read_value(field: Field, text: str, units: str) -> float:
    """Read a value as a person writes it: lengths in the scene's unit or with one of their own; metres or degrees.

    Raises
    ------
    SceneError
        If it is no such value.
    """
    try:
        return float(text) * (UNIT_M[units] if field.kind == "length" else 1.0)
    except ValueError:
        pass
    try:
        if field.kind == "length":
            return text_to_metres(text)
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(field.name, found, remedy.rstrip(".")) from None
    unit = "degrees" if field.kind == "degrees" else "a plain number"
    raise SceneError(field.name, f'"{text}" is no number', f"write it in {unit}, without a unit")


def value_of(blueprint: Blueprint, field: Field) -> float:
    """Value of a field in a scene, nan where the scene leaves it to follow from something else."""
    path, rule = field.places[0], field.rules[0]
    if rule == "size":
        low, high = part_at(blueprint, (*path[:-1], SIZES[str(path[-1])][0]))
        return float(high - low)
    found = part_at(blueprint, path)
    if rule == "layer":
        return porous_thickness_m(words_of(blueprint, found))
    if rule == "shift":
        return float(found[0])
    return float(found) if isinstance(found, int | float) else float("nan")


def with_value(blueprint: Blueprint, field: Field, value: float) -> Blueprint:
    """Return the scene with one field at another value, partners following.

    Raises
    ------
    SceneError
        If the value cannot be there, whatever else the scene says.
    """
    changed = blueprint
    for path, rule in zip(field.places, field.rules, strict=True):
        new: Any
        laid = {"mirror": 2.0 * field.middle_m - value, "negate": -value}.get(rule, value)
        if rule == "size":
            span, kept = SIZES[str(path[-1])]
            if not laid > 0.0:
                raise SceneError(f"{field.name} = {value:g} m", "nothing is of that size", "choose more than 0 m")
            path = (*path[:-1], span)
            low, high = part_at(changed, path)
            still = low + kept * (high - low)
            new = (still - kept * laid, still + (1.0 - kept) * laid)
        elif rule == "shift":
            low, high = part_at(changed, path)
            new = (laid, laid + high - low)
        elif rule == "layer":
            new = _layer(changed, path, field, laid)
        else:
            new = round(laid) if path[-1] == "order" else laid
        try:
            changed = _laid(changed, path, lambda _, put=new: put)  # type: ignore[misc]
        except ValidationError as refused:
            raise fault_of(field.name, field.kind, value, refused) from None
    return changed


def _layer(blueprint: Blueprint, path: Path, field: Field, metres: float) -> str:
    """Material of a panel with its first porous layer of another thickness."""
    try:
        return with_porous_thickness(words_of(blueprint, part_at(blueprint, path)), metres)
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(f"{field.name} = {metres:g} m", found, remedy.rstrip(".")) from None


def _laid(record: Any, path: Path, change: Callable[[Any], Any]) -> Any:
    """The record with one value changed, every record on the way checked anew."""
    if not path:
        return change(record)
    key, rest = path[0], path[1:]
    if isinstance(record, tuple):
        return tuple(_laid(each, rest, change) if number == key else each for number, each in enumerate(record))
    if isinstance(record, Mapping):
        return {name: _laid(each, rest, change) if name == key else each for name, each in record.items()}
    given = {name: getattr(record, name) for name in record.model_fields_set}
    return type(record).model_validate({**given, str(key): _laid(getattr(record, str(key)), rest, change)})


# Values of a number that varies, as a person writes them: "-10:15:1", "0.5:0.9:5cm", "1.1,1.2,1.3".

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


def asked(vary: list[str]) -> dict[str, str]:
    """Read FIELD=VALUES texts.

    Raises
    ------
    SceneError
        If one has no field or no values, or a field is there twice.
    """
    read: dict[str, str] = {}
    for text in vary:
        name, sign, values = text.partition("=")
        name, values = name.strip(), values.strip()
        if not (name and sign and values):
            raise SceneError("--vary", f'"{text}" is not FIELD=VALUES', "write it like left.tilt=-10:15:1")
        if name in read:
            raise SceneError("--vary", f"{name} is there twice", "give all its values in one list or range")
        read[name] = values
    return read
