"""The scene as the measured delays have it, written to a new file, and only when asked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sim.blueprint.reader import SceneFile, made_scene, read_scene
from sim.blueprint.toml_text import scene_text
from sim.blueprint.writing import copy_named_files, to_toml
from sim.errors import BounceplanError, OutputError, SceneError
from sim.layouts.fields import Path as FieldPath
from sim.layouts.written_back import text_with
from sim.machine.whole_files import refuse_name, write_whole
from sim.placement.built_scene import build_scene
from sim.studies.match.fitted_records import Quantity
from sim.studies.match.records import Match

OPTION = "--write-corrected"
DIGITS = 3
"""Decimals of what is written: a millimetre, or a thousandth of a degree."""


def refuse_corrected(path: Path, scene: Path, *, replace: bool) -> None:
    """Raise OutputError, before anything is traced, where the corrected scene cannot go there."""
    refuse_name(path)
    if path.suffix.lower() != ".toml":
        raise OutputError(f"{path}: a scene file ends in .toml; give it such a name.")
    if not path.parent.is_dir():
        raise OutputError(f"{path}: there is no folder {path.parent}; make it, or choose another place.")
    if path.is_dir():
        raise OutputError(f"{path}: this is a folder; name a file in it that ends in .toml.")
    file = scene / "scene.toml" if scene.is_dir() else scene
    if path.exists() and file.exists() and path.samefile(file):
        raise OutputError(
            f"{path}: this is the scene itself, which stays as it is; give the corrected one another name."
        )
    if path.exists() and not replace:
        raise OutputError(f"{path} exists; choose another name, or add --replace.")


def corrected_scene(found: Match) -> SceneFile:
    """The scene with the numbers that the measured delays put elsewhere; all others stay as given.

    Raises
    ------
    SceneError
        If nothing moved by more than it is sure, or the scene cannot be so.
    """
    scene = found.results.scene
    changes = written(found)
    if not changes:
        raise SceneError(OPTION, "the delays put no number of the scene elsewhere", "leave it out; the scene is fine")
    blueprint = scene.blueprint
    for one in changes:
        blueprint = _with(blueprint, one.path, round(one.fitted, DIGITS))
    changed = made_scene(blueprint, scene.folder, scene.path)
    build_scene(changed.blueprint, changed.folder)
    return changed


def written(found: Match) -> tuple[Quantity, ...]:
    """What moved and has a number of its own in the scene."""
    return tuple(one for one in found.correction.moved if one.path)


def write_corrected(found: Match, path: Path) -> None:
    """Write the corrected scene: the file it was, comments and all, with other numbers; files it names go along.

    Raises
    ------
    SceneError
        As `corrected_scene`.
    OutputError
        If something cannot be written.
    """
    scene, changed = found.results.scene, corrected_scene(found)
    write_whole(path, _text(found, changed), "the scene")
    if path.parent.resolve() == scene.folder.resolve():
        return
    try:
        copy_named_files(scene.blueprint, scene.folder, path.parent)
    except OSError as fault:
        raise OutputError(f"{path} cannot be written ({fault.strerror}).") from None


def _text(found: Match, changed: SceneFile) -> str:
    """The text of the corrected scene; of one that its file does not hold, as with another set, written anew."""
    scene = found.results.scene
    try:
        if scene.path.is_file() and read_scene(scene.path).digest == scene.digest:
            places = [(one.name, one.path, one.kind != "temperature") for one in written(found)]
            return text_with(scene_text(scene.path), scene, changed.blueprint, places)
    except BounceplanError:
        pass
    return to_toml(changed.blueprint)


def _with(record: Any, path: FieldPath, value: float) -> Any:
    """The record with one number changed, every record on the way checked anew."""
    key, rest = path[0], path[1:]
    if isinstance(record, tuple):
        return tuple(_with(each, rest, value) if turn == key else each for turn, each in enumerate(record))
    inner = value if not rest else _with(getattr(record, str(key)), rest, value)
    given = {name: getattr(record, name) for name in record.model_fields_set}
    return type(record).model_validate({**given, str(key): inner})
