"""Begin a scene and check it: the set-up sheet and the plan to confirm."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import PictureError
from sim.machine.processes import typed
from sim.progress import Report
from sim.showing.child_drawing import as_child, draw_in_child
from sim.showing.terminal import compile_first, progress, refuse_missing_folder, say, scene_argument
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.studies.check.text import Checked


def lines(checked: Checked) -> list[str]:
    """What the command says."""
    from sim.studies.check.text import setup_lines

    return setup_lines(checked.scene, checked.stage, checked.sheet)


# The command.

UNITS = ("m", "cm", "mm", "in", "ft")


def new_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan new`."""
    command.add_argument("folder", type=Path, help="folder to make")
    begin = command.add_mutually_exclusive_group(required=True)
    begin.add_argument("--box", nargs=3, metavar=("WIDTH", "DEPTH", "HEIGHT"), help="inside sizes")
    begin.add_argument("--demo", metavar="ROOM", help="a copy of a demo room instead, such as bedroom-on-stands")
    command.add_argument("--units", choices=UNITS, default="m", help="unit of the sizes and of the file")
    command.add_argument("--title", default="", help="what the room is called")
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
    from sim.studies.check.new_scene import copy_demo_room, new
    from sim.studies.check.text import check

    if chosen.demo is not None:
        scene_path = copy_demo_room(chosen.demo, chosen.folder)
    else:
        scene_path = new(chosen.folder, chosen.box, units=chosen.units, title=chosen.title).path
    compile_first("rooms")
    check(scene_path)
    say(f"wrote {scene_path}")
    picture = chosen.folder / "plan.png"
    trouble = draw_plan_of(scene_path, picture, progress)
    say(f"no plan was drawn: {trouble}" if trouble else f"wrote {picture}: is this your room?")
    say(f"next: put your own tape measurements in, then: {typed('bounceplan', 'check', chosen.folder)}")
    return 0


def check_command(chosen: argparse.Namespace) -> int:
    """Read a scene and print its set-up sheet."""
    from sim.studies.check.text import check

    refuse_missing_folder(chosen.plan)
    compile_first("rooms")
    say_answer(check(chosen.scene))
    if chosen.plan is not None:
        trouble = draw_plan_of(chosen.scene, chosen.plan, progress)
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


def draw_plan_of(scene: Path, picture: Path, report: Report) -> str:
    """Draw the plan and section of a scene to a file; returns why that failed, or an empty text."""
    return draw_in_child(MODULE, "check", picture, [str(scene)], report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.pipeline import build
    from sim.showing.plan_picture import draw_plan

    scene, stage = build(sources[0])
    draw_plan(stage, scene.blueprint, place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
