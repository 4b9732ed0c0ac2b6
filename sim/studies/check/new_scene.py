"""Begin a scene: from the sizes of a box room, or as a copy of a demo room."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

from sim.blueprint.reader import SCENE_NAME, SceneFile, read_scene
from sim.blueprint.template import new_scene
from sim.blueprint.units import UNIT_M, text_to_metres
from sim.errors import OutputError, SceneError
from sim.machine.whole_files import refuse_name, write_whole

PACKAGE = Path(__file__).resolve().parents[2]


def demo_rooms() -> dict[str, Path]:
    """Return the folder of each demo room by its name."""
    home = next((place for place in (PACKAGE / "demo_rooms", PACKAGE.parent / "scenes") if place.is_dir()), None)
    return {scene.parent.name: scene.parent for scene in sorted(home.glob(f"*/{SCENE_NAME}"))} if home else {}


def copy_demo_room(name: str, folder: Path) -> Path:
    """Copy a demo room, its meshes and what it shows, into a new or empty folder; return the path of its scene.

    Raises
    ------
    OutputError
        If there is no room of this name, or nothing can be written to the folder.
    """
    rooms = demo_rooms()
    if name not in rooms:
        raise OutputError(
            f"--demo {name}: there is no demo room of this name; choose from {', '.join(rooms) or 'none'}."
        )
    if (folder / SCENE_NAME).exists():
        raise OutputError(f"{folder / SCENE_NAME} is there already; choose another folder, or edit that file.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file in sorted(rooms[name].iterdir(), key=lambda file: file.name == SCENE_NAME):
            if file.is_file() and file.name != "expected.toml":
                shutil.copyfile(file, folder / file.name)
    except OSError as fault:
        raise OutputError(f"{folder} cannot be written ({fault.strerror}); choose another folder.") from None
    return folder / SCENE_NAME


# Start a scene: a folder with a commented scene file made from the sizes of a box room.

SIZES = ("width", "depth", "height")


def new(folder: Path | str, box: Sequence[str | float], *, units: str = "m", title: str = "") -> SceneFile:
    """Write a commented `scene.toml` for a box room into a new or empty folder, and return the scene.

    `box` is width, depth and height: numbers in `units`, or texts with a unit of their own.

    Raises
    ------
    SceneError
        If a size is not a length or cannot be a room, or there is no such unit.
    OutputError
        If there is a scene already, or nothing can be written there.
    """
    if units not in UNIT_M:
        raise SceneError("units", f'"{units}" is none', f"choose one of {', '.join(UNIT_M)}")
    if len(box) != len(SIZES):
        raise SceneError("--box", f"it has {len(box)} sizes", f"give three: {', '.join(SIZES)}")
    return read_scene(start_scene(Path(folder), [str(size) for size in box], units=units, title=title))


def start_scene(folder: Path, sizes: Sequence[str], *, units: str, title: str = "") -> Path:
    """Write `scene.toml` into a new or empty folder and return its path.

    sizes: width, depth and height as texts; a bare number is in `units`, "11 ft 2 in" has its own.

    Raises
    ------
    SceneError
        If a size is not a length or cannot be a room.
    OutputError
        If there is a scene already, or nothing can be written there.
    """
    metres = [_metres(name, text, units) for name, text in zip(SIZES, sizes, strict=True)]
    text = new_scene(*metres, title=title or folder.resolve().name, units=units)
    refuse_name(folder)
    path = folder / SCENE_NAME
    if path.exists():
        raise OutputError(f"{path} is there already; choose another folder, or edit that file.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(f"{path} cannot be written ({fault.strerror}); choose another folder.") from None
    return write_whole(path, text, "the scene")


def _metres(name: str, text: str, units: str) -> float:
    try:
        return float(text) * UNIT_M[units]
    except ValueError:
        pass
    try:
        return text_to_metres(text)
    except ValueError as fault:
        raise SceneError(
            f"--box, {name}", f'"{text}" is not a length', 'write 3.4, "340 cm" or "11 ft 2 in"'
        ) from fault
