"""Begin a scene and check it: the set-up sheet and the plan to confirm."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import PictureError, SceneError
from sim.machine.processes import runs_command, typed
from sim.progress import Report
from sim.rays.without_compiler import work_without_compiler
from sim.showing.child_drawing import as_child, draw_in_child
from sim.showing.terminal import compile_first, progress, refuse_missing_folder, say, scene_argument, told_scene
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.blueprint.schema import Blueprint
    from sim.studies.check.text import Checked
    from sim.surveying.tape.given_room import GivenRoom


def lines(checked: Checked) -> list[str]:
    """What the command says."""
    from sim.studies.check.text import setup_lines

    return setup_lines(checked.scene, checked.built, checked.sheet)


# The command.

UNITS = ("m", "cm", "mm", "in", "ft")
MONITORS = ("5-inch", "8-inch", "three-way", "coaxial")
POINT = ("FRONT", "LEFT", "UP")
SHAPE_OPTIONS: Final[dict[str, tuple[int | str, str | tuple[str, ...], str]]] = {
    "tape": (
        "+",
        "AB=LENGTH",
        "any outline: distances between corners A, B, C ... clockwise from the left of the front wall",
    ),
    "inward": ("+", "CORNER", "corners that jut into the room, such as D"),
    "not-square": ("+", "CORNER", "corners that are not to be taken as square"),
    "height": (1, "HEIGHT", "of the ceiling, beside --tape or --corner"),
    "cut-corner": (
        3,
        ("CORNER", "WIDTH", "DEPTH"),
        "L-shape: the corner of the box that is missing, such as rear-right",
    ),
    "seat": (3, POINT, "the ear (left out: where it fits)"),
    "left-monitor": ("+", "LENGTH", "its tweeter: FRONT LEFT UP, on a desk FRONT LEFT (left out: where it fits)"),
    "right-monitor": ("+", "LENGTH", "the same"),
    "desk": (5, ("FAR", "NEAR", "LEFT", "RIGHT", "TOP"), "its edges and height (left out: where it fits)"),
    "screen": (5, ("FRONT", "LEFT", "UP", "WIDTH", "HEIGHT"), "middle of the lower edge of its face, and its size"),
    "second-seat": (3, POINT, "its ear"),
}
"""Options that are given once: how many parts, their names, what they are."""
MANY_OPTIONS: Final[dict[str, tuple[int | str, str | tuple[str, ...], str]]] = {
    "corner": (2, ("FRONT", "LEFT"), "any outline, corner by corner: from the front wall and from the left wall"),
    "slope": (
        3,
        ("SIDE", "KNEE", "RUN"),
        "sloped ceiling: side, height of the wall below, how far in it is level again",
    ),
    "window": (
        5,
        ("SIDE", "FROM", "TO", "LOW", "HIGH"),
        "along that wall from the front (or left) wall, up from the floor",
    ),
    "door": (4, ("SIDE", "FROM", "TO", "HEIGHT"), "the same"),
    "radiator": (6, ("SIDE", "FROM", "TO", "LOW", "HIGH", "FACE"), "the same, and how far it sticks out"),
    "beam": ("+", "PART", "across or along, first and second face, underside, and top if below the ceiling"),
}
"""Options that may be given several times."""


def new_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan new`."""
    command.add_argument("folder", type=Path, help="folder to make")
    begin = command.add_mutually_exclusive_group()
    begin.add_argument(
        "--box",
        nargs=3,
        metavar=("WIDTH", "DEPTH", "HEIGHT"),
        help="inside sizes; without a shape everything is asked for",
    )
    begin.add_argument("--demo", metavar="ROOM", help="a copy of a demo room instead, such as bedroom-on-stands")
    command.add_argument("--units", choices=UNITS, help="unit of the sizes and of the file (default: m)")
    command.add_argument("--title", default="", help="what the room is called")
    for name, (count, parts, words) in SHAPE_OPTIONS.items():
        command.add_argument(f"--{name}", nargs=count, metavar=parts, help=words)
    for name, (count, parts, words) in MANY_OPTIONS.items():
        command.add_argument(f"--{name}", nargs=count, metavar=parts, action="append", default=[], help=words)
    command.add_argument(
        "--monitors-on", choices=("stands", "desk", "built-in"), help="what they stand on (default: stands)"
    )
    command.add_argument("--model", choices=MONITORS, help="usual size (default: 5-inch)")
    command.set_defaults(run=new_command)


def check_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan check`."""
    scene_argument(command)
    command.add_argument("--plan", type=Path, metavar="PNG", help="also draw the plan to this file")
    command.set_defaults(run=check_command)


def schema_arguments(command: argparse.ArgumentParser) -> None:
    """`bounceplan schema` takes none."""
    command.set_defaults(run=schema_command)


def new_command(chosen: argparse.Namespace) -> int:
    """Write a commented scene and its plan."""
    from sim.blueprint.reader import SCENE_NAME
    from sim.studies.check.new_scene import copy_demo_room, start_scene
    from sim.studies.check.text import check
    from sim.surveying.new_scene_file import refuse_taken
    from sim.surveying.tape.kept_answers import answers_place, forget_answers

    shaped = bool(chosen.box or chosen.tape or chosen.corner)
    beside = [name for name in (*SHAPE_OPTIONS, *MANY_OPTIONS) if getattr(chosen, name.replace("-", "_"))]
    beside += [name for name in ("monitors-on", "model") if getattr(chosen, name.replace("-", "_"))]
    if chosen.demo is not None and (shaped or beside):
        what = beside[0] if beside else "tape" if chosen.tape else "corner"
        raise SceneError(f"--{what}", "it stands beside --demo", "leave one of them out")
    if not shaped and beside:
        raise SceneError(
            f"--{beside[0]}",
            "there is no --box beside it",
            "give the inside sizes: --box WIDTH DEPTH HEIGHT, or an outline by --tape or --corner and --height",
        )
    if chosen.demo is not None:
        scene_path = copy_demo_room(chosen.demo, chosen.folder)
    elif shaped:
        refuse_taken(chosen.folder / SCENE_NAME)
        given, units = _given(chosen), chosen.units or "m"
        compile_first("rooms")
        scene_path = start_scene(chosen.folder, given, units=units, title=chosen.title)
        forget_answers(answers_place(chosen.folder))  # of questions that were not gone on with
        _say_balance(given, units)
    else:
        refuse_taken(chosen.folder / SCENE_NAME)
        scene_path = _asked_scene(chosen)
    compile_first("rooms")
    check(scene_path)
    say(f"wrote {scene_path}")
    picture = chosen.folder / "plan.png"
    trouble = draw_plan_of(scene_path, picture, progress)
    say(f"no plan was drawn: {trouble}" if trouble else f"wrote {picture}: is this your room?")
    todo = "correct what is not" if not shaped and chosen.demo is None else "put your own tape measurements in"
    say(f"next: {todo}, then: {typed('bounceplan', 'check', chosen.folder)}")
    return 0


def _given(chosen: argparse.Namespace) -> GivenRoom:
    """The room of the options."""
    from sim.surveying.tape.given_room import GivenRoom

    return GivenRoom(
        chosen.box or (),
        chosen.cut_corner,
        chosen.slope,
        chosen.window,
        chosen.door,
        chosen.second_seat,
        chosen.monitors_on or "stands",
        chosen.model or "5-inch",
        chosen.tape or (),
        "".join(chosen.inward or ()),
        "".join(chosen.not_square or ()),
        chosen.corner,
        (chosen.height or ("",))[0],
        chosen.beam,
        chosen.radiator,
        chosen.seat,
        chosen.left_monitor,
        chosen.right_monitor,
        chosen.desk,
        chosen.screen,
    )


def _say_balance(given: GivenRoom, units: str) -> None:
    """Say how well tape distances between corners fit together."""
    from sim.surveying.tape.balance_words import balance_lines

    balance = given.balance(units)
    for line in () if balance is None else balance_lines(balance, units):
        say(line)


def _asked_scene(chosen: argparse.Namespace) -> Path:
    """Ask for the room on the terminal, going on where an earlier run was stopped; without one, say what is missing."""
    import sys

    from sim.studies.check.asked_scene import asked_scene

    if not sys.stdin.isatty():
        raise SceneError(
            "--box", "it is missing, and nobody can be asked", "give --box WIDTH DEPTH HEIGHT, or --demo ROOM"
        )
    return asked_scene(chosen.folder, input, say, units=chosen.units, title=chosen.title)


def check_command(chosen: argparse.Namespace) -> int:
    """Read a scene and print its set-up sheet."""
    from sim.blueprint.reader import read_scene
    from sim.blueprint.scene_folders import is_several, listed

    refuse_missing_folder(chosen.plan)
    if is_several(chosen.scene):
        for line in listed(chosen.scene):
            say(line)
        say(f"check one by its file; all of one floor plan: {typed('bounceplan', 'compare', chosen.scene)} -o DIR")
        return 0
    scene = read_scene(told_scene(chosen))
    if not (runs_command() and is_small(scene.blueprint) and work_without_compiler()):
        compile_first("rooms")
    from sim.studies.check.text import check

    say_answer(check(scene))
    if chosen.plan is not None:
        trouble = draw_plan_of(chosen.scene, chosen.plan, progress, chosen.set or "")
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.plan}")
    return 0


FEW: Final = 12
"""So many pieces are sooner worked out in plain Python than the compiler is loaded (measured)."""


def is_small(blueprint: Blueprint) -> bool:
    """Whether a scene is a few pieces of flat faces, and no mesh."""
    pieces = (*blueprint.furniture, *blueprint.loudspeakers, *blueprint.openings, *blueprint.panels)
    return blueprint.room.mesh is None and not any(item.mesh for item in blueprint.furniture) and len(pieces) <= FEW


def schema_command(_: argparse.Namespace) -> int:
    """Print the JSON Schema of scene files."""
    from sim.blueprint.writing import json_schema_text

    say(json_schema_text().rstrip())
    return 0


# Draw the plan and section of a scene, in a process of its own.

MODULE: Final = "sim.studies.check"


def draw_plan_of(scene: Path, picture: Path, report: Report, plays: str = "") -> str:
    """Draw the plan and section of a scene to a file; returns why that failed, or an empty text."""
    return draw_in_child(MODULE, "check", picture, [str(scene), plays], report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.blueprint.reader import play
    from sim.pipeline import build
    from sim.showing.plan_picture import draw_plan

    scene, built = build(play(sources[0], sources[1]) if sources[1] else sources[0])
    draw_plan(built, scene.blueprint, place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
