"""A folder with several scenes, such as one floor plan for two clients: which there are, and which share the plan."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Final

from sim.blueprint.reader import SCENE_NAME, SceneFile, read_scene
from sim.blueprint.toml_text import scene_text
from sim.errors import OutputError, SceneError

SAME_PLAN_M: Final = 0.001
"""Floor plans that differ by less are the same: tapes read to a millimetre."""
MOST_SCENES: Final = 26
"""Layouts are told apart by letters."""


def scenes_in(folder: Path) -> tuple[Path, ...]:
    """Scene files of a folder by name: every TOML file in it with a [room], and the scene of each folder in it."""
    try:
        files = sorted(folder.glob("*.toml")) + sorted(folder.glob(f"*/{SCENE_NAME}"))
    except OSError as fault:
        raise SceneError(str(folder), f"it cannot be read ({fault.strerror})", "check who may read it") from None
    return tuple(file for file in files if file.is_file() and _holds_a_room(file))


def _holds_a_room(file: Path) -> bool:
    """Whether a file looks like a scene; one that is broken counts, so that its fault is told."""
    if file.name == SCENE_NAME:
        return True
    try:
        return "room" in tomllib.loads(scene_text(file))
    except (ValueError, RecursionError, SceneError):
        return "[room" in file.read_text(encoding="utf-8", errors="replace")


def is_several(place: Path) -> bool:
    """Whether a place is a folder without a scene of its own that holds others."""
    try:
        return place.is_dir() and not (place / SCENE_NAME).is_file() and bool(scenes_in(place))
    except OSError:
        return False


def same_floor_plan(one: SceneFile, other: SceneFile) -> bool:
    """Whether two scenes are of the same floor plan: walls to a millimetre, or the same mesh; heights may differ."""
    if one.blueprint.room.mesh is not None or other.blueprint.room.mesh is not None:
        files = [
            each.folder / each.blueprint.room.mesh for each in (one, other) if each.blueprint.room.mesh is not None
        ]
        return len(files) == 2 and files[0].read_bytes() == files[1].read_bytes()
    mine, yours = (_corners(each) for each in (one, other))
    return len(mine) == len(yours) and all(
        abs(a - b) <= SAME_PLAN_M for p, q in zip(mine, yours, strict=True) for a, b in zip(p, q, strict=True)
    )


def _corners(scene: SceneFile) -> list[tuple[float, float]]:
    """Corners of the floor, from_front and from_left, in one order for all that have the same."""
    room = scene.blueprint.room
    if room.box is not None:
        deep, wide = room.box.depth, room.box.width
        return [(0.0, 0.0), (0.0, wide), (deep, 0.0), (deep, wide)]
    return sorted((one.from_front, one.from_left) for one in room.outline or ())


def of_one_plan(folder: Path) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """Scenes of a folder that share the floor plan of the first, and those that do not.

    Raises
    ------
    SceneError
        If one of them cannot be.
    OutputError
        If there are too few or too many to compare.
    """
    files = scenes_in(folder)
    read = [read_scene(file) for file in files]
    same = tuple(file for file, one in zip(files, read, strict=True) if same_floor_plan(read[0], one))
    if not 2 <= len(same) <= MOST_SCENES:
        found = f"{len(same)} of its {len(files)} scenes share a floor plan" if files else "it holds no scenes"
        raise OutputError(f"{folder}: {found}; 2 to {MOST_SCENES} can be compared, or name scenes one after the other.")
    return same, tuple(file for file in files if file not in same)


def listed(folder: Path) -> list[str]:
    """One line for each scene of a folder, and which share the floor plan of the first; a broken one says why."""
    files = scenes_in(folder)
    first: SceneFile | None = None
    lines = [f"{folder} holds {len(files)} scene{'s' * (len(files) != 1)}:"]
    for file in files:
        name = file.relative_to(folder)
        try:
            scene = read_scene(file)
        except SceneError as fault:
            lines.append(f"  {name}: {fault}")
            continue
        first = first or scene
        names = ", ".join(one.name for one in scene.blueprint.loudspeakers)
        plan = (
            "" if first is scene else "; same floor plan" if same_floor_plan(first, scene) else "; another floor plan"
        )
        lines.append(f"  {name}: {scene.blueprint.title} ({names}){plan}")
    return lines
