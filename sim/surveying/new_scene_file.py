"""Where the scene of a new room goes: into a new or empty folder, and over no other."""

from __future__ import annotations

from pathlib import Path

from sim.blueprint.reader import SCENE_NAME
from sim.errors import OutputError
from sim.machine.whole_files import refuse_name, write_whole


def place_of_scene(folder: Path) -> Path:
    """Path of the scene in a folder; OutputError for a name that cannot be, or where a scene is already."""
    refuse_name(folder)
    path = folder / SCENE_NAME
    refuse_taken(path)
    return path


def refuse_taken(path: Path) -> None:
    """Raise OutputError when a scene is there already."""
    if path.exists():
        raise OutputError(f"{path} is there already; choose another folder, or edit that file.")


def write_scene_file(path: Path, text: str) -> Path:
    """Write a scene, its folder made first; OutputError if that cannot be."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(f"{path} cannot be written ({fault.strerror}); choose another folder.") from None
    return write_whole(path, text, "the scene")
