"""A scene file with other numbers in it, its comments and layout kept."""

from __future__ import annotations

import re
from collections.abc import Mapping, MutableMapping, Sequence
from typing import Any, Final

import tomlkit

from sim.blueprint.reader import SceneFile, parse_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.units import UNIT_M
from sim.errors import BounceplanError
from sim.layouts.fields import SIZES, part_at
from sim.layouts.fields import Path as FieldPath

_WRITTEN: Final = re.compile(r"\s*[-+]?[\d.,/ ]+\s*(?P<unit>mm|cm|m|in|ft)\s*")
DIGITS: Final = 5
"""Decimals of a number in a file: a hundredth of a millimetre."""
LISTS: Final = ("loudspeakers", "furniture", "openings", "keep_clear", "panels")

Place = tuple[str, FieldPath, bool]
"""What a number is called, where it lies in the scene, and whether it is a length."""


def text_with(text: str, read: SceneFile, changed: Blueprint, places: Sequence[Place]) -> str:
    """Return the text of a scene file with the numbers at some places as a changed scene has them.

    Parameters
    ----------
    text, read
        The file, and the scene that it says.
    changed
        The scene that it shall say.
    places
        Where they differ.

    Raises
    ------
    BounceplanError
        If the file cannot be written back so that it says the same.
    """
    document = tomlkit.parse(text)
    for _, path, length in places:
        _put(document, read.blueprint, path, part_at(changed, path), length)
    if read.blueprint.plays and document.get("plays") != read.blueprint.plays:
        document["plays"] = read.blueprint.plays
    written = tomlkit.dumps(document)
    again = parse_scene(written, read.folder, read.path).blueprint
    for name, path, _ in places:
        if not _alike(part_at(again, path), part_at(changed, path)):
            raise BounceplanError(f"{name}: it cannot be written into {read.path.name}; change it there by hand.")
    return written


def place_in_file(path: FieldPath, rule: str) -> FieldPath:
    """Where the number of a field stands in the file: sizes are written as spans."""
    return (*path[:-1], SIZES[str(path[-1])][0]) if rule == "size" else path


def _alike(one: Any, other: Any) -> bool:
    if isinstance(one, tuple) and isinstance(other, tuple):
        return all(_alike(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, float | int) and isinstance(other, float | int):
        return abs(one - other) < 2.0 * 10.0**-DIGITS
    return bool(one == other)


def _put(document: MutableMapping[str, Any], blueprint: Blueprint, path: FieldPath, new: Any, length: bool) -> None:
    """Lay one value into the document at its place; tables that are not there yet are made."""
    at: Any = document
    for place, key in enumerate(path[:-1]):
        if isinstance(key, int) and place == 1 and path[0] in LISTS:
            at = _named(at, getattr(blueprint, str(path[0]))[key].name)
            continue
        if isinstance(at, MutableMapping) and key not in at:
            at[str(key)] = tomlkit.inline_table()
        at = at[key]
    key = path[-1]
    old = at.get(key) if isinstance(at, Mapping) else at[key]
    at[key] = _written(new, old, blueprint.units, length)


def _named(things: Any, name: str) -> Any:
    """The table of this name in a list of tables."""
    for thing in things:
        if thing.get("name") == name:
            return thing
    raise BounceplanError(f'"{name}" has no table of its own in the file; give it one, with its name.')


def _written(value: Any, old: Any, units: str, length: bool) -> Any:
    """A value as the file writes it: in the unit it had there, else in that of the file."""
    if isinstance(value, tuple):
        olds = list(old) if isinstance(old, list) and len(old) == len(value) else [None] * len(value)
        return [_written(one, was, units, length) for one, was in zip(value, olds, strict=True)]
    if isinstance(value, str) or value is None:
        return value
    if not length:
        return plain_number(float(value), old)
    found = _WRITTEN.fullmatch(old) if isinstance(old, str) else None
    if found:
        return f"{number_text(value / UNIT_M[found['unit']])} {found['unit']}"
    return plain_number(value / UNIT_M[units], old)


def number_text(value: float) -> str:
    """A number as a file writes it, without zeros at its end."""
    return f"{round(value, DIGITS) + 0.0:.{DIGITS}f}".rstrip("0").rstrip(".")


def plain_number(value: float, old: Any) -> float | int:
    """A number as a file writes it, whole where it was whole before."""
    rounded = round(value, DIGITS) + 0.0
    return int(rounded) if isinstance(old, int) and rounded == int(rounded) else rounded
