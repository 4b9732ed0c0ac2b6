"""The demo rooms that come with the package: `scenes` of a checkout, `demo_rooms` in an installed package."""

from __future__ import annotations

import shutil
from pathlib import Path

from ..blueprint.reader import SCENE_NAME
from ..errors import OutputError

PACKAGE = Path(__file__).resolve().parents[1]


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
