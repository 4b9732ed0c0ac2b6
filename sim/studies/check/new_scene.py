"""Begin a scene: from what a tape tells of a room, or as a copy of a demo room."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sim.blueprint.first_room import (
    CORNERS,
    MONITORS,
    PLACES,
    SIDES,
    FirstOpening,
    FirstRoom,
    FirstSlope,
    refuse_impossible,
)
from sim.blueprint.reader import SCENE_NAME, SceneFile, parse_scene, read_scene
from sim.blueprint.template import first_scene
from sim.blueprint.units import UNIT_M, text_to_metres
from sim.errors import OutputError, SceneError
from sim.machine.whole_files import refuse_name, write_whole
from sim.pipeline import build

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

SIZES = ("width", "depth", "height")


@dataclass(frozen=True, slots=True)
class Told:
    """A room as typed, every length a text: a bare number is in the unit of the file, "11 ft 2 in" has its own.

    Attributes
    ----------
    box
        Width, depth and height.
    cut_corner
        For an L-shape: which corner of the box is missing, its width and its depth.
    slopes
        Sloped ceilings: side, height of the wall below, and how far in the ceiling is level again.
    windows
        Each side, along the wall from and to, lower and upper edge.
    doors
        Each side, along the wall from and to, and its height.
    second_seat
        Its ear: from_front, from_left, up.
    monitors_on, model
        "stands" or "desk"; a usual size of loudspeaker.
    """

    box: Sequence[str | float]
    cut_corner: Sequence[str | float] | None = None
    slopes: Sequence[Sequence[str | float]] = ()
    windows: Sequence[Sequence[str | float]] = ()
    doors: Sequence[Sequence[str | float]] = ()
    second_seat: Sequence[str | float] | None = None
    monitors_on: str = "stands"
    model: str = "5-inch"

    def room(self, units: str) -> FirstRoom:
        """The same in metres; raises SceneError for what is no length, and for what no room can be."""

        def many(option: str, texts: Sequence[str | float], names: Sequence[str]) -> list[float]:
            if len(texts) != len(names):
                raise SceneError(option, f"it has {len(texts)} parts", f"give {len(names)}: {', '.join(names)}")
            return [_metres(f"{option}, {name}", text, units) for name, text in zip(names, texts, strict=True)]

        def sided(option: str, texts: Sequence[str | float], names: Sequence[str]) -> tuple[str, list[float]]:
            if len(texts) != len(names) + 1:
                parts = ", ".join(("side", *names))
                raise SceneError(option, f"it has {len(texts)} parts", f"give {len(names) + 1}: {parts}")
            side = " ".join(str(texts[0]).lower().replace("-", " ").split()).removesuffix(" wall")
            return side, many(f"{option} {side}", texts[1:], names)

        width, depth, height = many("--box", self.box, SIZES)
        corner = None
        if self.cut_corner is not None:
            which, (wide, deep) = sided("--cut-corner", self.cut_corner, ("width", "depth"))
            corner = (which, wide, deep)
        slopes = []
        for given in self.slopes:
            side, (knee, run) = sided("--slope", given, ("height of its wall", "how far in it is level"))
            slopes.append(FirstSlope(side, knee, run))
        openings = []
        for given in self.windows:
            side, (low, high, sill, head) = sided("--window", given, ("from", "to", "lower edge", "upper edge"))
            openings.append(FirstOpening("window", side, (low, high), (sill, head)))
        for given in self.doors:
            side, (low, high, head) = sided("--door", given, ("from", "to", "height"))
            openings.append(FirstOpening("door", side, (low, high), (0.0, head)))
        seat = None
        if self.second_seat is not None:
            ahead, across, up = many("--second-seat", self.second_seat, ("from_front", "from_left", "up"))
            seat = (ahead, across, up)
        room = FirstRoom(
            width, depth, height, corner, tuple(slopes), self.monitors_on, self.model, tuple(openings), seat
        )
        refuse_impossible(room)
        return room


def new(
    folder: Path | str,
    box: Sequence[str | float],
    *,
    units: str = "m",
    title: str = "",
    cut_corner: Sequence[str | float] | None = None,
    slopes: Sequence[Sequence[str | float]] = (),
    windows: Sequence[Sequence[str | float]] = (),
    doors: Sequence[Sequence[str | float]] = (),
    second_seat: Sequence[str | float] | None = None,
    monitors_on: str = "stands",
    model: str = "5-inch",
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
        "stands" or "desk".
    model
        "5-inch", "8-inch", "three-way" or "coaxial".

    Raises
    ------
    SceneError
        If something is not a length, cannot be a room or does not fit into it, or there is no such unit.
    OutputError
        If there is a scene already, or nothing can be written there.
    """
    told = Told(box, cut_corner, slopes, windows, doors, second_seat, monitors_on, model)
    return read_scene(start_scene(Path(folder), told, units=units, title=title))


def start_scene(folder: Path, told: Told, *, units: str, title: str = "") -> Path:
    """Write `scene.toml` into a new or empty folder and return its path; raises as `new`, before anything is made."""
    if units not in UNIT_M:
        raise SceneError("units", f'"{units}" is none', f"choose one of {', '.join(UNIT_M)}")
    text = first_scene(told.room(units), title=title or folder.resolve().name, units=units)
    build(parse_scene(text, folder))
    refuse_name(folder)
    path = folder / SCENE_NAME
    refuse_taken(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(f"{path} cannot be written ({fault.strerror}); choose another folder.") from None
    return write_whole(path, text, "the scene")


def refuse_taken(path: Path) -> None:
    """Raise OutputError when a scene is there already."""
    if path.exists():
        raise OutputError(f"{path} is there already; choose another folder, or edit that file.")


def _metres(name: str, text: str | float, units: str) -> float:
    try:
        return float(text) * UNIT_M[units]
    except ValueError:
        pass
    try:
        return text_to_metres(str(text))
    except ValueError as fault:
        raise SceneError(name, f'"{text}" is not a length', 'write 3.4, "340 cm" or "11 ft 2 in"') from fault


# A room told by answering questions on the terminal, one length at a time, each answer checked before the next.

Ask = Callable[[str], str]
Tell = Callable[[str], None]


def asked_room(ask: Ask, tell: Tell, units: str | None) -> tuple[Told, str]:
    """Ask for a room, and return it with the unit of its lengths.

    Parameters
    ----------
    ask
        Shows a question and returns what was typed; raises EOFError when there is nothing more.
    tell
        Says a line.
    units
        Unit that is known already; None: it is asked for.

    Raises
    ------
    SceneError
        If the answers end before the questions.
    """
    try:
        return _asked(ask, tell, units)
    except EOFError:
        raise SceneError(
            "questions",
            "the answers ended before the questions; nothing was written",
            "start again, or give the room with --box WIDTH DEPTH HEIGHT",
        ) from None


def _asked(ask: Ask, tell: Tell, units: str | None) -> tuple[Told, str]:
    tell("All lengths by tape, from wall to wall. Stand facing the wall with the monitors: that is the front wall.")
    unit = units or _choice(ask, tell, "Unit of your tape", tuple(UNIT_M), "m")

    def extend(told: Told, question: str, change: Callable[[list[str]], Told], parts: Sequence[str]) -> Told:
        """Ask for some lengths and have the room with them checked, again and again until it can be."""
        while True:
            if question:
                tell(question)
            answers = [_answer(ask, tell, part) for part in parts]
            try:
                made = change(answers)
                made.room(unit)
                return made
            except SceneError as fault:
                tell(f"  {fault} Once more:")

    told = extend(
        Told(()), "", Told, ("Width, left wall to right wall", "Depth, front to rear", "Height of the ceiling")
    )
    corner = _choice(ask, tell, "L-shape: which corner is missing", CORNERS, "")
    if corner:
        told = extend(
            told,
            "",
            lambda given: replace(told, cut_corner=(corner, *given)),
            ("  its width, left to right", "  its depth, front to rear"),
        )
    for ordinal in ("Sloped ceiling: over which wall", "A second slope: over which wall"):
        side = _choice(ask, tell, ordinal, SIDES, "")
        if not side:
            break
        told = extend(
            told,
            "",
            lambda given, before=told, side=side: replace(before, slopes=(*before.slopes, (side, *given))),  # type: ignore[misc]
            ("  height of that wall below it", "  how far from that wall the ceiling is level again"),
        )
    for kind, parts in (
        ("window", ("  along the wall, from", "  to", "  lower edge above the floor", "  upper edge")),
        ("door", ("  along the wall, from", "  to", "  its height")),
    ):
        side = _choice(ask, tell, f"A {kind}: in which wall", SIDES, "")
        if side:
            start = "the front wall" if side in ("left", "right") else "the left wall"
            told = extend(
                told,
                f"  measured along it from {start}",
                lambda given, before=told, key=f"{kind}s", side=side: replace(before, **{key: ((side, *given),)}),  # type: ignore[misc]
                parts,
            )
    told = replace(told, monitors_on=_choice(ask, tell, "Monitors stand on", PLACES, PLACES[0]))
    told = replace(told, model=_choice(ask, tell, "Size of the monitors", tuple(MONITORS), "5-inch"))
    if _choice(ask, tell, "A second seat", ("yes", "no"), "no") == "yes":
        told = extend(
            told,
            "",
            lambda given: replace(told, second_seat=tuple(given)),
            ("  its ear, from the front wall", "  from the left wall", "  above the floor"),
        )
    return told, unit


def _answer(ask: Ask, tell: Tell, question: str) -> str:
    while True:
        answer = ask(f"{question}: ").strip()
        if answer:
            return answer
        tell("  A length is needed here, such as 3.4 or 11 ft 2 in.")


def _choice(ask: Ask, tell: Tell, question: str, known: Sequence[str], usual: str) -> str:
    """One of a few words, or what Enter stands for; as many letters as tell it from the others do."""
    while True:
        answer = " ".join(ask(f"{question} ({', '.join(known)}; Enter: {usual or 'none'}): ").lower().split())
        if not answer or answer in (usual, usual or "none"):
            return usual
        fitting = [word for word in known if word == answer] or [word for word in known if word.startswith(answer)]
        if len(fitting) == 1:
            return fitting[0]
        tell(f'  "{answer}" is none of {", ".join(known)}.')
