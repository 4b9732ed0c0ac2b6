"""Values of fields: read as a person writes them, found in a scene, laid into it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pydantic import ValidationError

from ..blueprint.schema import Blueprint
from ..blueprint.units import UNIT_M, text_to_metres
from ..errors import SceneError
from .field_faults import fault_of
from .fields import SIZES, Field, Path, part_at
from .panel_layers import porous_thickness_m, with_porous_thickness, words_of


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
    told = {name: getattr(record, name) for name in record.model_fields_set}
    return type(record).model_validate({**told, str(key): _laid(getattr(record, str(key)), rest, change)})
