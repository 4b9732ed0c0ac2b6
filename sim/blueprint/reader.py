"""Read a scene file: TOML in, checked record out, and every fault told in one sentence."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeAlias

from pydantic import ValidationError

from sim.answers import printable
from sim.blueprint.checks import refuse_what_cannot_be
from sim.blueprint.error_messages import closest, scene_error, shown
from sim.blueprint.named_files import named_files
from sim.blueprint.records import Point
from sim.blueprint.remarks import defaulted_keys, what_looks_odd
from sim.blueprint.room import SecondSeat
from sim.blueprint.schema import Blueprint
from sim.blueprint.sets import split_into_sets, whole, with_set
from sim.blueprint.texts import refuse_odd_texts
from sim.blueprint.toml_text import Locations, key_lines, refuse_deep_keys, scene_text, syntax_error
from sim.blueprint.units import UNIT_M
from sim.blueprint.writing import to_toml
from sim.errors import SceneError
from sim.machine.processes import typed

SCENE_NAME = "scene.toml"


@printable
@dataclass(frozen=True)
class SceneFile:
    """A scene that was read and found possible.

    Attributes
    ----------
    blueprint
        The scene, lengths in metres.
    path, folder
        The file, and the folder that its mesh files stay in.
    digest
        First 12 hex digits of SHA-256 over the text and every mesh file, to tell results of one scene from
        those of another.
    defaulted
        Dotted keys that were left out and took a default a person should know of.
    warnings
        Sentences on what is possible but unusual.
    """

    blueprint: Blueprint
    path: Path
    folder: Path
    digest: str
    defaulted: tuple[str, ...]
    warnings: tuple[str, ...]


AnyScene: TypeAlias = Path | str | Mapping[str, Any] | Blueprint | SceneFile
"""A scene in any form: a path, the text of a scene file (it has line breaks, which no path has), the same as nested
dictionaries, a `Blueprint`, or a scene that was read before."""
MOST_NAMED = 6
UNTITLED = "the scene"
"""What complaints call a scene that is in no file."""


def read_scene(scene: AnyScene, folder: Path | str = ".") -> SceneFile:
    """Read a scene: from its file or the `scene.toml` of a folder, from its text, or as made in Python.

    All are checked alike.  A `str` with a line break is the text of a scene file, any other is a path.  Mesh files
    and measured data of a scene that is in no file are looked for in `folder`.

    Raises
    ------
    SceneError
        If the file cannot be read, is not TOML, or says something that cannot be.
    """
    if isinstance(scene, SceneFile):
        return scene
    if isinstance(scene, Blueprint):
        return made_scene(scene, Path(folder))
    if isinstance(scene, Mapping):
        return _from_document(dict(scene), Locations(UNTITLED, {}), Path(folder), Path(folder) / SCENE_NAME, None)
    if isinstance(scene, str) and "\n" in scene:
        return parse_scene(scene, Path(folder))
    return _read_file(scene)


def made_scene(blueprint: Blueprint, folder: Path, path: Path | None = None) -> SceneFile:
    """Check a scene made or changed in Python as a file is checked; raises SceneError as `read_scene`."""
    refuse_what_cannot_be(whole(blueprint), folder, Locations(path.name if path is not None else UNTITLED, {}))
    return _found_possible(blueprint, path if path is not None else folder / SCENE_NAME, folder, to_toml(blueprint))


def _read_file(path: Path | str) -> SceneFile:
    given = Path(path)
    try:
        file = given / SCENE_NAME if given.is_dir() else given
        there = file.is_file()
    except OSError as fault:  # a name longer than the system takes
        raise SceneError(str(given)[:60], f"it cannot be read ({fault.strerror})", "give a shorter path") from None
    if not there:
        if given.is_dir():
            others = sorted(file.name for file in given.glob("*.toml"))[:MOST_NAMED]
            if others:
                raise SceneError(str(given), f"this folder holds no {SCENE_NAME}", f"name one of {', '.join(others)}")
            begin = f"write one with: {typed('bounceplan', 'new', given)} --box WIDTH DEPTH HEIGHT"
            raise SceneError(str(given), f"this folder holds no {SCENE_NAME}", begin)
        raise SceneError(str(given), "there is no such file", f"name a scene file or a folder with a {SCENE_NAME}")
    return parse_scene(scene_text(file), file.parent, file)


def parse_scene(text: str, folder: Path, path: Path | None = None) -> SceneFile:
    """Read a scene from its text; mesh files are looked for in `folder`.

    Raises
    ------
    SceneError
        As `read_scene`.
    """
    file = path if path is not None else folder / SCENE_NAME
    refuse_deep_keys(text, file.name)
    try:
        document = tomllib.loads(text)
        locations = Locations(file.name, key_lines(text))
        refuse_odd_texts(document, locations)
    except tomllib.TOMLDecodeError as fault:
        raise syntax_error(text, fault, file.name) from None
    except (ValueError, RecursionError):  # a number of thousands of digits, brackets a thousand deep
        raise SceneError(
            file.name, "a number or a nesting in it is beyond all measure", "check that this is a scene file"
        ) from None
    return _from_document(document, Locations(file.name, key_lines(text)), folder, file, text)


def _from_document(
    document: dict[str, Any], locations: Locations, folder: Path, file: Path, text: str | None
) -> SceneFile:
    unit = _unit(document, locations)
    try:
        blueprint = Blueprint.model_validate(document, context={"unit": unit})
    except ValidationError as refused:
        raise scene_error(refused, document, locations) from None
    refuse_what_cannot_be(whole(blueprint), folder, locations)
    blueprint = split_into_sets(blueprint, locations.where("plays"))
    return _found_possible(blueprint, file, folder, text if text is not None else to_toml(blueprint))


def _found_possible(blueprint: Blueprint, file: Path, folder: Path, text: str) -> SceneFile:
    blueprint = split_into_sets(blueprint)
    return SceneFile(
        blueprint=blueprint,
        path=file,
        folder=folder,
        digest=_digest(text + blueprint.plays * bool(blueprint.silent), named_files(blueprint, folder)),
        defaulted=defaulted_keys(blueprint),
        warnings=what_looks_odd(blueprint),
    )


def _unit(document: dict[str, Any], locations: Locations) -> str:
    unit = document.get("units", "m")
    if not isinstance(unit, str) or unit not in UNIT_M:
        raise SceneError(locations.where("units"), f"it is {shown(unit)}", closest(str(unit), UNIT_M, what="the units"))
    return str(unit)


def _digest(text: str, meshes: list[Path]) -> str:
    total = hashlib.sha256(text.encode())
    for mesh in meshes:
        total.update(mesh.read_bytes())
    return total.hexdigest()[:12]


def play(scene: AnyScene, name: str) -> SceneFile:
    """Return the scene with another of its sets of monitors playing; all others stand silent.

    Raises
    ------
    SceneError
        As `read_scene`, and if no loudspeaker is in a set of this name.
    """
    read = read_scene(scene)
    if name and name == read.blueprint.plays:
        return read
    made = made_scene(with_set(read.blueprint, name, "set"), read.folder, read.path)
    return replace(made, defaulted=read.defaulted, warnings=made.warnings)


# A scene with another seat than its file has, for a question that is asked once.


def with_second_seat(scene: SceneFile, place: Sequence[str]) -> SceneFile:
    """Return the scene with its second seat at a place: from_front, from_left and up as a scene file writes them.

    Bare numbers are in the unit of the scene.  Whether the place is in the air is found when the scene is built.

    Raises
    ------
    SceneError
        If one of the three is no length.
    """
    given = dict(zip(("from_front", "from_left", "up"), (_number(text) for text in place), strict=True))
    try:
        ear = Point.model_validate(given, context={"unit": scene.blueprint.units})
    except ValidationError as fault:
        first = fault.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        found, _, remedy = str(first["msg"]).removeprefix("Value error, ").partition("; ")
        raise SceneError(f"second seat, {key}", found, remedy or 'give a length such as 2.40 or "240 cm"') from None
    seat = SecondSeat(ear=ear)
    listener = scene.blueprint.listener.model_copy(update={"second_seat": seat})
    where = ", ".join(f"{key} {value:g} m" for key, value in zip(given, ear.coordinates, strict=True))
    return replace(
        scene,
        blueprint=scene.blueprint.model_copy(update={"listener": listener}),
        warnings=(*scene.warnings, f"The second seat ({where}) was given with the command; it is not in the file."),
    )


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
