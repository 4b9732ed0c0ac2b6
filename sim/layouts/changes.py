"""Scenes changed in Python: other numbers and words, things added, things taken away; checked as files are.

Names are those of `sweep --vary`: "desk.tilt", "left.height", "room.width"; any other key of the scene file works too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from pydantic import ValidationError

from sim.blueprint.error_messages import closest, scene_error
from sim.blueprint.reader import UNTITLED, AnyScene, SceneFile, made_scene, read_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.toml_text import Locations
from sim.errors import SceneError
from sim.layouts.fields import find_field, part_at, things_of
from sim.layouts.values import read_value, with_value

Value = float | int | bool | str | Sequence[Any] | Mapping[str, Any] | None
LISTS: Final = ("furniture", "openings", "keep_clear", "panels", "loudspeakers")


def change(scene: AnyScene, values: Mapping[str, Value], *, tied: bool = True) -> SceneFile:
    """Return a scene with other values: `change("myroom", {"desk.tilt": 5, "left.height": "1.25 m"})`.

    Numbers are in the unit of the scene, texts may bring their own ("48 in"); keys that hold words take words
    ("left.standing": "stand").  None takes a key back to its default.  With `tied` a loudspeaker's partner moves as its
    mirror image, as in a sweep.  The scene that was given stays as it is.

    Raises
    ------
    SceneError
        If there is no such thing or key, or the changed scene cannot be: the sentences are those of files and sweeps.
    """
    read = read_scene(scene)
    blueprint = read.blueprint
    for name, value in values.items():
        blueprint = _changed(blueprint, name, value, tied)
    return made_scene(blueprint, read.folder, read.path)


def add(scene: AnyScene, kind: str, *things: Mapping[str, Any]) -> SceneFile:
    """Return a scene with more in it: `add("myroom", "panels", {"name": "cloud", "surface": "ceiling", ...})`.

    `kind` is "furniture", "panels", "openings", "keep_clear" or "loudspeakers"; a thing has the keys of its table in a
    scene file, lengths in the unit of the scene or with their own.

    Raises
    ------
    SceneError
        As `change`.
    """
    if kind not in LISTS:
        raise SceneError(kind, "scenes have no list of these", closest(kind, LISTS, what="the lists"))
    read = read_scene(scene)
    given = _given(read.blueprint)
    given[kind] = [*getattr(read.blueprint, kind), *things]
    return made_scene(_validated(given, read), read.folder, read.path)


def remove(scene: AnyScene, *names: str) -> SceneFile:
    """Return a scene without the things of these names: `remove("myroom", "desk", "left panel")`.

    Raises
    ------
    SceneError
        If there is nothing of that name, or the scene cannot be without it.
    """
    read = read_scene(scene)
    given = _given(read.blueprint)
    known = [each.name for kind in LISTS for each in getattr(read.blueprint, kind)]
    for name in names:
        if name not in known:
            raise SceneError(name, "nothing in the scene is called so", closest(name, known, what="its things"))
    for kind in LISTS:
        if kind in given:
            given[kind] = [each for each in getattr(read.blueprint, kind) if each.name not in names]
    return made_scene(_validated(given, read), read.folder, read.path)


def _changed(blueprint: Blueprint, name: str, value: Value, tied: bool) -> Blueprint:
    """The scene with one value changed: a number as in a sweep, else a key of the file."""
    place = _key_of_file(blueprint, name)
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if place is None or number or (isinstance(value, str) and _is_number(blueprint, name, tied)):
        field = find_field(blueprint, name, tied=tied)
        return with_value(blueprint, field, read_value(field, str(value), blueprint.units))
    changed: Blueprint = _laid(blueprint, place, value, blueprint.units, name)
    return changed


def _is_number(blueprint: Blueprint, name: str, tied: bool) -> bool:
    try:
        field = find_field(blueprint, name, tied=tied)
    except SceneError:
        return False
    held = part_at(blueprint, field.places[0]) if field.rules[0] == "set" else 0.0
    return isinstance(held, int | float) or held is None


def _key_of_file(blueprint: Blueprint, name: str) -> tuple[str | int, ...] | None:
    """Path of a key as the scene file has it; None when there is no such key."""
    if name in type(blueprint).model_fields:
        return (name,)
    things = things_of(blueprint)
    thing = max((each for each in things if name.startswith(f"{each}.")), key=len, default=None)
    if thing is None:
        return None
    start = things[thing][1]
    keys = name[len(thing) + 1 :].split(".")
    try:
        record = part_at(blueprint, (*start, *keys[:-1]))
    except (AttributeError, KeyError, IndexError, TypeError):
        return None
    return (*start, *keys) if keys[-1] in getattr(type(record), "model_fields", {}) else None


def _laid(record: Any, path: tuple[str | int, ...], value: Value, units: str, name: str) -> Any:
    """The record with one key changed, every record on the way checked anew; None leaves the key out."""
    key, rest = path[0], path[1:]
    if isinstance(record, tuple):
        return tuple(_laid(each, rest, value, units, name) if at == key else each for at, each in enumerate(record))
    if isinstance(record, Mapping):
        return {at: _laid(each, rest, value, units, name) if at == key else each for at, each in record.items()}
    given = {at: getattr(record, at) for at in record.model_fields_set}
    if rest:
        given[str(key)] = _laid(getattr(record, str(key)), rest, value, units, name)
    elif value is None:
        given.pop(str(key), None)
    else:
        given[str(key)] = value
    try:
        return type(record).model_validate(given, context={"unit": units})
    except ValidationError as refused:
        raise scene_error(refused, given, Locations(name.rpartition(".")[0] or name, {})) from None


def _given(blueprint: Blueprint) -> dict[str, Any]:
    return {name: getattr(blueprint, name) for name in blueprint.model_fields_set}


def _validated(given: dict[str, Any], scene: SceneFile) -> Blueprint:
    where = scene.path.name if scene.path.is_file() else UNTITLED
    try:
        return Blueprint.model_validate(given, context={"unit": scene.blueprint.units})
    except ValidationError as refused:
        raise scene_error(refused, given, Locations(where, {})) from None
