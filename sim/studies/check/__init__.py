"""Begin a scene and check it: the set-up sheet and the plan to confirm."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import PictureError, SceneError
from sim.machine.processes import typed
from sim.progress import Report
from sim.showing.child_drawing import as_child, draw_in_child
from sim.showing.terminal import compile_first, progress, refuse_missing_folder, say, scene_argument, told_scene
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.studies.check.new_scene import Told
    from sim.studies.check.text import Checked


def lines(checked: Checked) -> list[str]:
    """What the command says."""
    from sim.studies.check.text import setup_lines

    return setup_lines(checked.scene, checked.built, checked.sheet)


# The command.

ROOM_OPTIONS: Final = ("cut_corner", "slope", "window", "door", "second_seat", "monitors_on", "model")
UNITS = ("m", "cm", "mm", "in", "ft")


def new_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan new`."""
    command.add_argument("folder", type=Path, help="folder to make")
    begin = command.add_mutually_exclusive_group()
    begin.add_argument(
        "--box", nargs=3, metavar=("WIDTH", "DEPTH", "HEIGHT"), help="inside sizes; left out, everything is asked for"
    )
    begin.add_argument("--demo", metavar="ROOM", help="a copy of a demo room instead, such as bedroom-on-stands")
    command.add_argument("--units", choices=UNITS, help="unit of the sizes and of the file (default: m)")
    command.add_argument("--title", default="", help="what the room is called")
    command.add_argument(
        "--cut-corner",
        nargs=3,
        metavar=("CORNER", "WIDTH", "DEPTH"),
        help="L-shape: the corner of the box that is missing, such as rear-right",
    )
    command.add_argument(
        "--slope",
        nargs=3,
        action="append",
        default=[],
        metavar=("SIDE", "KNEE", "RUN"),
        help="sloped ceiling: side, height of the wall below, how far in it is level again; once or twice",
    )
    command.add_argument(
        "--window",
        nargs=5,
        action="append",
        default=[],
        metavar=("SIDE", "FROM", "TO", "LOW", "HIGH"),
        help="along that wall from the front (or left) wall, and up from the floor",
    )
    command.add_argument(
        "--door", nargs=4, action="append", default=[], metavar=("SIDE", "FROM", "TO", "HEIGHT"), help="the same"
    )
    command.add_argument("--second-seat", nargs=3, metavar=("FRONT", "LEFT", "UP"), help="its ear")
    command.add_argument("--monitors-on", choices=("stands", "desk"), help="what they stand on (default: stands)")
    command.add_argument(
        "--model", choices=("5-inch", "8-inch", "three-way", "coaxial"), help="usual size (default: 5-inch)"
    )
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
    from sim.studies.check.new_scene import Told, copy_demo_room, refuse_taken, start_scene
    from sim.studies.check.text import check

    told_more = [key for key in ROOM_OPTIONS if getattr(chosen, key)]
    if chosen.box is None and told_more:
        option = f"--{told_more[0].replace('_', '-')}"
        raise SceneError(option, "there is no --box beside it", "give the inside sizes: --box WIDTH DEPTH HEIGHT")
    if chosen.demo is not None:
        scene_path = copy_demo_room(chosen.demo, chosen.folder)
    else:
        refuse_taken(chosen.folder / SCENE_NAME)
        units = chosen.units or "m"
        if chosen.box is None:
            told, units = _asked(chosen.units)
        else:
            told = Told(
                chosen.box,
                chosen.cut_corner,
                chosen.slope,
                chosen.window,
                chosen.door,
                chosen.second_seat,
                chosen.monitors_on or "stands",
                chosen.model or "5-inch",
            )
        compile_first("rooms")
        scene_path = start_scene(chosen.folder, told, units=units, title=chosen.title)
    compile_first("rooms")
    check(scene_path)
    say(f"wrote {scene_path}")
    picture = chosen.folder / "plan.png"
    trouble = draw_plan_of(scene_path, picture, progress)
    say(f"no plan was drawn: {trouble}" if trouble else f"wrote {picture}: is this your room?")
    say(f"next: put your own tape measurements in, then: {typed('bounceplan', 'check', chosen.folder)}")
    return 0


def _asked(units: str | None) -> tuple[Told, str]:
    """Ask for the room on the terminal; without one, say which option is missing."""
    import sys

    from sim.studies.check.new_scene import asked_room

    if not sys.stdin.isatty():
        raise SceneError(
            "--box", "it is missing, and nobody can be asked", "give --box WIDTH DEPTH HEIGHT, or --demo ROOM"
        )
    return asked_room(input, say, units)


def check_command(chosen: argparse.Namespace) -> int:
    """Read a scene and print its set-up sheet."""
    from sim.blueprint.scene_folders import is_several, listed
    from sim.studies.check.text import check

    refuse_missing_folder(chosen.plan)
    if is_several(chosen.scene):
        for line in listed(chosen.scene):
            say(line)
        say(f"check one by its file; all of one floor plan: {typed('bounceplan', 'compare', chosen.scene)} -o DIR")
        return 0
    compile_first("rooms")
    say_answer(check(told_scene(chosen)))
    if chosen.plan is not None:
        trouble = draw_plan_of(chosen.scene, chosen.plan, progress, chosen.set or "")
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.plan}")
    return 0


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
