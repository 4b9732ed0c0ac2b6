"""A setting as a scene file: the file it began with, its comments and layout kept, with other numbers in it."""

from __future__ import annotations

import re
from collections.abc import Mapping, MutableMapping
from pathlib import Path
from typing import Any, Final

import tomlkit

from sim.blueprint.reader import parse_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.units import UNIT_M
from sim.errors import BounceplanError, OutputError
from sim.layouts.fields import SIZES, find_field, part_at
from sim.layouts.fields import Path as FieldPath
from sim.machine.whole_files import write_whole
from sim.studies.view.state import State

NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _.-]{0,60}")
"""Names that a variant may have: a plain file name of its own on every system."""
_WRITTEN: Final = re.compile(r"\s*[-+]?[\d.,/ ]+\s*(?P<unit>mm|cm|m|in|ft)\s*")
DIGITS: Final = 5
"""Decimals of a number in a file: a hundredth of a millimetre."""
LISTS: Final = ("loudspeakers", "furniture", "openings", "keep_clear", "panels")


def file_bytes(state: State) -> bytes:
    """Return the setting as a scene file; with nothing changed it is the file itself, byte for byte.

    Raises
    ------
    BounceplanError
        If the file cannot be written back so that it says the same.
    """
    if not state.values:
        return state.base.raw
    read, changed = state.base.scene, state.scene.blueprint
    document = tomlkit.parse(state.base.text)
    for name, value in state.values.items():
        held = find_field(read.blueprint, name, tied=False)
        path, rule = held.places[0], held.rules[0]
        if rule == "size":
            path = (*path[:-1], SIZES[str(path[-1])][0])
        new = value if isinstance(value, str) else part_at(changed, path)
        _put(document, read.blueprint, path, new, held.kind == "length")
    if read.blueprint.plays and document.get("plays") != read.blueprint.plays:
        document["plays"] = read.blueprint.plays
    text = tomlkit.dumps(document)
    _refuse_other(text, state)
    return text.encode()


def _refuse_other(text: str, state: State) -> None:
    """Raise BounceplanError where the text does not say what was meant."""
    read = state.base.scene
    again = parse_scene(text, read.folder, read.path).blueprint
    meant = state.scene.blueprint
    for name in state.values:
        held = find_field(meant, name, tied=False)
        one, other = (
            part_at(again, _real(held.places[0], held.rules[0])),
            part_at(meant, _real(held.places[0], held.rules[0])),
        )
        if not _alike(one, other):
            raise BounceplanError(f"{name}: it cannot be written into {read.path.name}; change it there by hand.")


def _real(path: FieldPath, rule: str) -> FieldPath:
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
        return _plain(float(value), old)
    found = _WRITTEN.fullmatch(old) if isinstance(old, str) else None
    if found:
        return f"{_number(value / UNIT_M[found['unit']])} {found['unit']}"
    return _plain(value / UNIT_M[units], old)


def _number(value: float) -> str:
    return f"{round(value, DIGITS) + 0.0:.{DIGITS}f}".rstrip("0").rstrip(".")


def _plain(value: float, old: Any) -> float | int:
    rounded = round(value, DIGITS) + 0.0
    return int(rounded) if isinstance(old, int) and rounded == int(rounded) else rounded


def variant_path(state: State, name: str) -> Path:
    """Where a variant of this name lies: beside the scene it began with.

    Raises
    ------
    OutputError
        For a name that is no plain file name.
    """
    plain = name.strip().removesuffix(".toml").strip()
    if not NAME.fullmatch(plain) or plain.endswith("."):
        raise OutputError(
            f'"{plain[:40]}": a variant needs a plain name of letters, digits, blanks, "-" and "_"; give it another.'
        )
    return state.base.scene.path.parent / f"{plain}.toml"


def keep(state: State, name: str, *, ours: frozenset[Path]) -> Path:
    """Write a setting as a variant beside its scene; one that was written from here before is replaced, none else.

    Raises
    ------
    BounceplanError
        If it cannot be written, or a file of this name is there.
    """
    path = variant_path(state, name)
    if path.exists() and path not in ours:
        raise OutputError(f"{path.name} is there already and was not kept from here; give another name.")
    return write_whole(path, file_bytes(state), "the variant")
