"""A setting as a scene file: the file it began with, its comments and layout kept, with other numbers in it."""

from __future__ import annotations

import re
from collections.abc import Mapping, MutableMapping
from pathlib import Path
from typing import Any, Final

import tomlkit

from sim.blueprint.reader import parse_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel
from sim.errors import BounceplanError, OutputError
from sim.layouts.fields import SIZES, find_field, part_at
from sim.layouts.fields import Path as FieldPath
from sim.machine.whole_files import write_whole
from sim.showing.numbers import in_unit
from sim.studies.view.edits import panel_of
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
    read, changed = state.ground, state.scene.blueprint
    if not state.values and not state.edits and _plays_alike(state):
        return state.base.raw
    document = tomlkit.parse(state.base.text)
    _hang(document, state)
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


def _plays_alike(state: State) -> bool:
    """Whether the file itself says which set of monitors plays."""
    plays = state.base.scene.blueprint.plays
    return not plays or tomlkit.parse(state.base.text).get("plays") == plays


def _hang(document: MutableMapping[str, Any], state: State) -> None:
    """Take panels out of the document and add those that were hung, each a table of its own."""
    if not state.edits:
        return
    blueprint = state.base.scene.blueprint
    there: Any = document.get("panels")
    for name in state.edits.taken if there is not None else ():
        for number, one in enumerate(list(there)):
            if one.get("name") == name:
                del there[number]
                break
    if there is not None and not len(there):
        del document["panels"]
        there = None
    if not state.edits.hung:
        return
    if there is None:
        document["panels"] = there = tomlkit.aot()
    inline = not isinstance(there, tomlkit.items.AoT)
    for hung in state.edits.hung:
        table = tomlkit.inline_table() if inline else tomlkit.table()
        for key, value in _panel_keys(panel_of(blueprint, hung), blueprint.units).items():
            table[key] = value
        there.append(table)


def _panel_keys(panel: Panel, units: str) -> dict[str, Any]:
    """What a file says of a panel that was hung; nobody has said yet how one over heads is fixed, so it does not."""
    spans = {key: getattr(panel, key) for key in ("from_front", "from_left", "up")}
    told: dict[str, Any] = {"name": panel.name, "surface": panel.surface}
    told |= {key: [_plain(in_unit(end, units), None) for end in span] for key, span in spans.items() if span}
    told["material"] = panel.material
    if panel.gap > 0.0:
        told["gap"] = _plain(in_unit(panel.gap, units), None)
    if panel.movable:
        told["movable"] = True
    if panel.held_by != "surface":
        told["held_by"] = panel.held_by
    return told | {key: value for key in ("mass_kg", "price") if (value := getattr(panel, key)) is not None}


def _refuse_other(text: str, state: State) -> None:
    """Raise BounceplanError where the text does not say what was meant."""
    read = state.base.scene
    again = parse_scene(text, read.folder, read.path).blueprint
    meant = state.scene.blueprint
    if [one.name for one in again.panels] != [one.name for one in meant.panels]:
        raise BounceplanError(f"panels: they cannot be written into {read.path.name}; change it there by hand.")
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
        return f"{_number(in_unit(value, found['unit']))} {found['unit']}"
    return _plain(in_unit(value, units), old)


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
