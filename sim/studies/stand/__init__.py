"""What to stack so that the axis is at ear height, and whether it stands."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.showing.terminal import compile_first, refuse_missing_folder, say

if TYPE_CHECKING:
    from sim.studies.stand.answer import Stacks


def lines(stacks: Stacks) -> list[str]:
    """What the command says."""
    from sim.studies.stand.text import stand_lines

    return stand_lines(stacks)


# The command.


def stand_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan stand`."""
    command.add_argument("--scene", type=Path, help="take cabinet, mass, ear height, distance and unit from this scene")
    command.add_argument(
        "--loudspeaker", default="", metavar="NAME", help="which monitor of the scene (default: the first)"
    )
    command.add_argument("--axis-height", metavar="LENGTH", help="height wanted for the acoustic axis: 1.20 or 1200mm")
    command.add_argument(
        "--cabinet", metavar="WxHxD", help="its width x height x depth: 180x290x230 in mm, or 7x11x9in"
    )
    command.add_argument(
        "--axis-in-cabinet", metavar="LENGTH", help="acoustic axis above the underside of the cabinet: 0.22 or 220mm"
    )
    command.add_argument("--mass", metavar="MASS", help="mass of the cabinet: 5.5 in kg, or 12lb")
    command.add_argument(
        "--distance", metavar="LENGTH", help="from the axis to the ear, on the plan (default: the scene's, or 1.20)"
    )
    command.add_argument(
        "--depth-offset",
        default="0",
        metavar="LENGTH",
        help="how far the cabinet stands toward the listener from the middle of the stack",
    )
    command.add_argument(
        "--have",
        action="append",
        required=True,
        metavar="PIECES",
        help='what there is: "block 390x190x190 12kg x4", "plate 300x300x10 x2", "pad 200x250x40 compression 2mm",'
        ' "isolator 50x50x30 compression 3mm at 2kg x4", "stand 300x300x800-1100 7kg hollow 4l"; inches and pounds too:'
        ' "block 16x8x8in 26lb x4"; repeat it for each kind; commas may stand for blanks',
    )
    command.add_argument("--stacks", type=int, default=1, metavar="N", help="divide the pieces among N (default: 1)")
    command.add_argument("--soft", action="store_true", help="only stacks with a pad or isolator")
    command.add_argument("--lowest-hz", type=float, metavar="HZ", help="lowest note of the monitor (default: 45)")
    command.add_argument("--best", type=int, default=3, metavar="K", help="how many to show (default: 3)")
    command.add_argument("--picture", type=Path, metavar="PNG", help="draw the best to this file")
    command.add_argument(
        "--units", choices=("m", "cm", "mm", "in", "ft"), help="what to answer in (default: the scene's, or mm)"
    )
    command.set_defaults(run=stand_command)


def stand_command(chosen: argparse.Namespace) -> int:
    """Look for stacks and tell the best; exit code 2 when there is none."""
    from sim.studies.stand.answer import stand
    from sim.studies.stand.text import stand_lines

    refuse_missing_folder(chosen.picture)
    if chosen.scene is not None:
        compile_first("rooms")
    found = stand(
        chosen.have,
        chosen.scene,
        loudspeaker=chosen.loudspeaker,
        axis_height=chosen.axis_height,
        cabinet=chosen.cabinet,
        axis_in_cabinet=chosen.axis_in_cabinet,
        mass=chosen.mass,
        distance=chosen.distance,
        depth_offset=chosen.depth_offset,
        stacks=chosen.stacks,
        soft=chosen.soft,
        lowest_hz=chosen.lowest_hz,
        best=chosen.best,
        units=chosen.units,
    )
    for line in stand_lines(found):
        say(line)
    if chosen.picture is not None and found.stacks:
        from sim.studies.stand.picture import draw_stand

        draw_stand(found.stacks[0], found.wish, chosen.picture, found.units)
        say("")
        say(f"wrote {chosen.picture}")
    return 0 if found.stacks else 2
