"""Begin a scene: from what a tape tells of a room, or as a copy of a demo room."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

from sim.blueprint.reader import SCENE_NAME, SceneFile, parse_scene, read_scene
from sim.blueprint.template import first_scene
from sim.blueprint.units import UNIT_M
from sim.errors import OutputError, SceneError
from sim.pipeline import build
from sim.surveying.new_scene_file import place_of_scene, refuse_taken, write_scene_file
from sim.surveying.tape.faces import refuse_outside
from sim.surveying.tape.given_room import GivenRoom
from sim.surveying.tape.typed_lengths import Text

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
    refuse_taken(folder / SCENE_NAME)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file in sorted(rooms[name].iterdir(), key=lambda file: file.name == SCENE_NAME):
            if file.is_file() and file.name != "expected.toml":
                shutil.copyfile(file, folder / file.name)
    except OSError as fault:
        raise OutputError(f"{folder} cannot be written ({fault.strerror}); choose another folder.") from None
    return folder / SCENE_NAME


# Start a scene: a folder with a commented scene file made from what a tape tells of a room.


def new(
    folder: Path | str,
    box: Sequence[Text] = (),
    *,
    units: str = "m",
    title: str = "",
    cut_corner: Sequence[Text] | None = None,
    slopes: Sequence[Sequence[Text]] = (),
    windows: Sequence[Sequence[Text]] = (),
    doors: Sequence[Sequence[Text]] = (),
    second_seat: Sequence[Text] | None = None,
    monitors_on: str = "stands",
    model: str = "5-inch",
    tape: Sequence[str] = (),
    inward: str = "",
    skew: str = "",
    corners: Sequence[Sequence[Text]] = (),
    height: Text = "",
    beams: Sequence[Sequence[Text]] = (),
    radiators: Sequence[Sequence[Text]] = (),
    seat: Sequence[Text] | None = None,
    left_monitor: Sequence[Text] | None = None,
    right_monitor: Sequence[Text] | None = None,
    desk: Sequence[Text] | None = None,
    screen: Sequence[Text] | None = None,
) -> SceneFile:
    """Write a commented `scene.toml` for a room into a new or empty folder, and return the scene.

    Parameters
    ----------
    folder
        Where to.
    box
        Width, depth and height: numbers in `units`, or texts with a unit of their own.
    units
        m, cm, mm, in or ft: of bare numbers, and of the file.
    title
        What the room is called; left out, as the folder.
    cut_corner
        For an L-shape: the missing corner of the box ("rear right"), its width and its depth.
    slopes
        One or two sloped ceilings: side ("left"), height of the wall below, how far in the ceiling is level again.
    windows, doors
        Each side, then along the wall from and to, and lower and upper edge (a door: its height).
    second_seat
        Its ear: from_front, from_left, up.
    monitors_on
        "stands", "desk" or "built in" to the front wall.
    model
        "5-inch", "8-inch", "three-way" or "coaxial".
    tape
        In place of `box`: distances between corners, "AB=3.41", corners lettered clockwise from the left end of the
        front wall; more than needed are balanced by least squares.
    inward, skew
        Letters of the corners that jut into the room, and of those that are not square.
    corners
        In place of `box`: each corner's from_front and from_left, once round.
    height
        Of the ceiling, beside `tape` or `corners`.
    beams
        Each "across" or "along", first and second face from the front (or left) wall, underside, and top if it does not
        reach the ceiling.
    radiators
        Each side, along the wall from and to, lower and upper edge, and its face from the wall.
    seat, left_monitor, right_monitor
        Ear and acoustic axes: from_front, from_left, up; left out, where they fit.
    desk
        Far and near edge from the front wall, left and right end from the left wall, height of its top.
    screen
        The middle of the lower edge of its face (from_front, from_left, up), width and height.

    Raises
    ------
    SceneError
        If something is not a length, cannot be a room or does not fit into it, or there is no such unit.
    OutputError
        If there is a scene already, or nothing can be written there.
    """
    room = GivenRoom(
        box,
        cut_corner,
        slopes,
        windows,
        doors,
        second_seat,
        monitors_on,
        model,
        tape,
        inward,
        skew,
        corners,
        height,
        beams,
        radiators,
        seat,
        left_monitor,
        right_monitor,
        desk,
        screen,
    )
    return read_scene(start_scene(Path(folder), room, units=units, title=title))


def start_scene(folder: Path, given: GivenRoom, *, units: str, title: str = "") -> Path:
    """Write `scene.toml` into a new or empty folder and return its path; raises as `new`, before anything is made."""
    if units not in UNIT_M:
        raise SceneError("units", f'"{units}" is none', f"choose one of {', '.join(UNIT_M)}")
    text = built_text(folder, given, units=units, title=title)
    return write_scene_file(place_of_scene(folder), text)


def built_text(folder: Path, given: GivenRoom, *, units: str, title: str = "") -> str:
    """Return the text of a scene after building it; raises SceneError for what cannot be."""
    refuse_outside(given, units)
    text = first_scene(given.room(units), title=title or folder.resolve().name, units=units)
    build(parse_scene(text, folder))
    return text
