"""A scene from a plan drawing: layers and outlines to choose from, lengths held against a tape."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.machine.processes import typed
from sim.showing.terminal import compile_first, say
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.studies.floorplan.reading import Floorplan


def lines(plan: Floorplan) -> list[str]:
    """What the command says."""
    from sim.studies.floorplan.text import floorplan_lines

    return floorplan_lines(plan)


# The command.


def floorplan_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan floorplan`."""
    command.add_argument("file", type=Path, help="DXF or SVG file, the room seen from above")
    command.add_argument(
        "--layer", action="append", default=[], metavar="NAME", help="layer that holds the outline; several times"
    )
    command.add_argument("--unit", choices=("m", "cm", "mm", "in", "ft"), help="what its numbers are in")
    command.add_argument("--gap", default="5 mm", metavar="LENGTH", help="join loose ends within this (default: 5 mm)")
    command.add_argument("--bridge", action="store_true", help="draw walls through across gaps of up to 3 m")
    command.add_argument("--outline", type=int, default=0, metavar="N", help="which of several closed outlines")
    command.add_argument(
        "--front",
        default="top",
        metavar="SIDE",
        help="front of the room on the drawing: top, bottom, left, right, or a wall's number (default: top)",
    )
    command.add_argument("--tape", metavar="WALL=LENGTH", help="what a tape reads along a wall, or as width or depth")
    command.add_argument("--height", metavar="LENGTH", help="floor to ceiling, by tape")
    command.add_argument("--title", default="", help="what the room is called")
    command.add_argument("-o", "--output", type=Path, metavar="DIR", help="folder to make with the scene")
    command.set_defaults(run=floorplan_command)


def floorplan_command(chosen: argparse.Namespace) -> int:
    """Say what a drawing holds; with a folder, write the scene."""
    from sim.studies.floorplan.reading import floorplan
    from sim.studies.floorplan.text import write_scene
    from sim.surveying.tape.typed_lengths import named_reading

    plan = floorplan(
        chosen.file,
        layers=chosen.layer,
        unit=chosen.unit or "",
        gap=chosen.gap,
        bridge=chosen.bridge,
        outline=chosen.outline,
        front=chosen.front,
        tape=named_reading(chosen.tape) if chosen.tape else None,
    )
    say_answer(plan)
    if chosen.output is None:
        return 0
    compile_first("rooms")
    path = write_scene(plan, chosen.output, chosen.height, chosen.title)
    say("")
    say(f"wrote {path}: correct monitors, desk and seat in it")
    say(f"next: {typed('bounceplan', 'check', chosen.output)} --plan plan.png")
    return 0
