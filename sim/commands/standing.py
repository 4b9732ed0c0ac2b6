"""What to stand a loudspeaker on: stacks of what is there that put its axis at ear height."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import SceneError
from .screen import compile_first, refuse_missing_folder, say

if TYPE_CHECKING:
    from ..placement.stack import Wish

USUAL_LOWEST_HZ = 45.0
"""A small two-way reaches about this low (common practice, no source)."""
USUAL_DISTANCE_M = 1.2
LARGEST_M = 10.0


def stand_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan stand`."""
    command.add_argument("--scene", type=Path, help="take box, mass, ear height and distance from this scene")
    command.add_argument("--loudspeaker", default="", metavar="NAME", help="which of the scene (default: the first)")
    command.add_argument("--axis-height", metavar="LENGTH", help="height wanted for the acoustic axis: 1.20 or 1200mm")
    command.add_argument("--box", metavar="WxHxD", help="width x height x depth of the box, in mm or with a unit")
    command.add_argument("--axis-in-box", metavar="LENGTH", help="axis over the underside of the box: 0.22 or 220mm")
    command.add_argument("--mass", type=float, metavar="KG", help="mass of the box")
    command.add_argument("--distance", metavar="LENGTH", help="axis to ear in plan (default: the scene's, or 1.20)")
    command.add_argument(
        "--depth-offset", default="0", metavar="LENGTH", help="middle of the box toward the listener from the stack's"
    )
    command.add_argument(
        "--have", action="append", required=True, metavar="PIECES",
        help='what there is: "block 390x190x190 12kg x4", "plate 300x300x10 x2", "pad 200x250x40 compression 2mm",'
        ' "isolator 50x50x30 compression 3mm at 2kg x4", "stand 300x300x800-1100 7kg hollow 4l"; give it again for'
        " each; commas may stand for blanks",
    )  # fmt: skip
    command.add_argument("--stacks", type=int, default=1, metavar="N", help="share the pieces among N (default: 1)")
    command.add_argument("--soft", action="store_true", help="only stacks with a pad or isolator")
    command.add_argument("--lowest-hz", type=float, metavar="HZ", help="lowest note of the loudspeaker (default: 45)")
    command.add_argument("--best", type=int, default=3, metavar="K", help="how many to tell (default: 3)")
    command.add_argument("--picture", type=Path, metavar="PNG", help="draw the best to this file")
    command.set_defaults(run=stand_command)


def stand_command(chosen: argparse.Namespace) -> int:
    """Look for stacks and tell the best; exit code 2 when there is none, or none that stands."""
    from ..placement.stack_pieces import read_piece
    from ..placement.stack_search import best_stacks
    from ..writers.stand_text import stand_lines

    for option, number in (("--stacks", chosen.stacks), ("--best", chosen.best)):
        if number < 1:
            raise SceneError(option, f"it is {number}", "give 1 or more")
    if chosen.lowest_hz is not None and not chosen.lowest_hz > 0.0:
        raise SceneError("--lowest-hz", f"it is {chosen.lowest_hz:g}", "give a frequency above zero")
    refuse_missing_folder(chosen.picture)
    wish, assumed = _wish(chosen)
    pieces = [read_piece(text, chosen.stacks) for text in chosen.have]
    stacks = best_stacks(pieces, wish, best=chosen.best, soft=chosen.soft)
    for line in stand_lines(stacks, wish, pieces, chosen.lowest_hz or USUAL_LOWEST_HZ, assumed):
        say(line)
    if chosen.picture is not None and stacks:
        from ..views.stand_picture import draw_stand

        draw_stand(stacks[0], wish, chosen.picture)
        say("")
        say(f"wrote {chosen.picture}")
    return 0 if stacks and stacks[0].tips.least_deg > 0.0 else 2


def _wish(chosen: argparse.Namespace) -> tuple[Wish, list[str]]:
    """What is wished for, from a scene and from the command line, and what had to be assumed."""
    from dataclasses import replace

    from ..placement.stack import UNKNOWN_BOX_KG_M3, Wish
    from ..placement.stack_pieces import sizes_m

    assumed: list[str] = []
    forward = length("--depth-offset", chosen.depth_offset)
    if chosen.mass is not None and not chosen.mass > 0.0:
        raise SceneError("--mass", f"it is {chosen.mass:g} kg", "weigh the box and give more than zero")
    if chosen.scene is not None:
        from ..pipeline import check
        from ..placement.stack_scene import loudspeaker_named, wish_of

        compile_first("rooms")
        if chosen.box or chosen.axis_in_box:
            raise SceneError("--box", "the box comes from the scene", "leave out --box and --axis-in-box, or --scene")
        scene, stage = check(chosen.scene)
        wish = wish_of(stage, chosen.loudspeaker, mass_kg=chosen.mass, forward_m=forward)
        name = loudspeaker_named(stage, chosen.loudspeaker).name
        used = next(one.model for one in scene.blueprint.loudspeakers if one.name == name)
        model = scene.blueprint.models.get(used)
        if chosen.mass is None and (model is None or model.mass_kg is None):
            assumed.append(f"The box was not weighed: {wish.mass_kg:.1f} kg for its size; give --mass.")
    else:
        for option, given in (
            ("--axis-height", chosen.axis_height), ("--box", chosen.box), ("--axis-in-box", chosen.axis_in_box),
        ):  # fmt: skip
            if given is None:
                raise SceneError(option, "it is missing", "give it, or name a scene with --scene")
        width, height, depth, _ = sizes_m(
            chosen.box, "--box", "write it like 180x290x230, width x height x depth in mm"
        )
        mass = chosen.mass
        if mass is None:
            mass = width * height * depth * UNKNOWN_BOX_KG_M3
            assumed.append(f"The box was not weighed: {mass:.1f} kg for its size; give --mass.")
        in_box = length("--axis-in-box", chosen.axis_in_box)
        if not 0.0 <= in_box <= height:
            raise SceneError(
                "--axis-in-box", f"it is {in_box:g} m, outside a box {height:g} m high", "measure it again"
            )
        wish = Wish(0.0, USUAL_DISTANCE_M, width, height, depth, mass, in_box, forward)
        if chosen.distance is None:
            assumed.append(f"The ear is {USUAL_DISTANCE_M:.2f} m away; give --distance.")
    if chosen.axis_height is not None:
        wish = replace(wish, axis_height_m=length("--axis-height", chosen.axis_height))
    if chosen.distance is not None:
        wish = replace(wish, distance_m=length("--distance", chosen.distance))
    for option, value in (("--axis-height", wish.axis_height_m), ("--distance", wish.distance_m)):
        if not 0.0 < value <= LARGEST_M:
            raise SceneError(option, f"it is {value:g} m", "give metres, or a length with its unit such as 1200mm")
    return wish, assumed


def length(option: str, text: str) -> float:
    """A length in metres: a plain number is metres, anything else brings its unit.

    Raises
    ------
    SceneError
        If it is no length.
    """
    from ..blueprint.units import text_to_metres

    try:
        return float(text)
    except ValueError:
        pass
    try:
        return text_to_metres(text)
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(option, found, remedy.rstrip(".")) from None
