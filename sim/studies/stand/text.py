"""Stacks for a monitor as plain lines: what lies on what, how near the axis comes, how it stands, what to mind."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from itertools import groupby
from typing import Final

from sim.blueprint.units import is_imperial, mass_words
from sim.placement.stops import TILT_LIMIT_DEG
from sim.showing.numbers import format_length, hertz
from sim.showing.words import WIDTH, listed
from sim.studies.stand.answer import Stacks
from sim.studies.stand.pieces import (
    HAND_TEST,
    ISOLATES_ABOVE,
    STAND_CAUTIONS,
    TIP_TO_SPARE_DEG,
    TIP_WARNING_DEG,
    Piece,
    fill_masses_kg,
    wedge_m,
)
from sim.studies.stand.stack import Stack

LEVEL_DEG: Final = 0.05
NONE_STANDS: Final = (
    f"STOP: none of these stands, every stack tips before {TIP_WARNING_DEG:.0f} degrees. Take wider pieces or a lower "
    "stack, or strap it to the wall; the first is the one that comes nearest to standing."
)


def stand_lines(found: Stacks) -> list[str]:
    """Lines on stacks, best first: lengths to a millimetre or a sixteenth of an inch, angles in degrees."""
    stacks, wish, pieces, lowest_hz = found.stacks, found.wish, found.pieces, found.lowest_hz
    unit = found.units
    sizes = " x ".join(_fine(side, unit) for side in (wish.width_m, wish.height_m, wish.depth_m))
    lines = [
        *_wrapped(
            f"Acoustic axis wanted at {_fine(wish.axis_height_m, unit)}, so the top of the stack at "
            f"{_fine(wish.axis_height_m - wish.axis_in_cabinet_m, unit)}.",
            "",
        ),
        *_wrapped(
            f"Cabinet {sizes} (width x height x depth), {mass_words(wish.mass_kg, unit, 1)}, axis "
            f"{_fine(wish.axis_in_cabinet_m, unit)} over its underside; ear {_fine(wish.distance_m, unit)} away.",
            "",
        ),
    ]
    if stacks and stacks[0].tips.least_deg < TIP_WARNING_DEG:
        lines = [*_wrapped(NONE_STANDS, ""), *lines]
    if not stacks:
        lines += ["", "Nothing can be stacked of what is there: name pieces that fit under the cabinet."]
    for number, stack in enumerate(stacks, start=1):
        lines += ["", *_wrapped(f"{number}. {stack_words(stack, unit)}", "   ")]
        lines += [line for fact in stack_facts(stack, lowest_hz, unit) for line in _wrapped(f"   {fact}", "     ")]
    lines += ["", *_hollows(pieces, unit)]
    lines += ["Assumed", *listed([*found.assumed, *_assumptions(pieces, lowest_hz, unit)])]
    lines += ["", "Before you stack", *listed([HAND_TEST, *STAND_CAUTIONS])]
    return lines


def stack_words(stack: Stack, unit: str = "mm") -> str:
    """What lies on what, from the floor up: "plate 300 x 300 x 10 mm, 2 layers of block ... flat"."""
    if not stack.layers:
        return "nothing: the cabinet stands on the floor"
    reported = []
    for words, group in groupby(stack.layers, key=lambda layer: layer.words):
        layers = list(group)
        setting = layers[0].piece
        name = words
        if setting.most_height_m > setting.height_m:
            name = f"{words}, set to {_fine(layers[0].height_m, unit)}"
        reported.append(f"{len(layers)} layers of {name}" if len(layers) > 1 else name)
    return "; ".join(reported) + " (from the floor up)"


def stack_facts(stack: Stack, lowest_hz: float, unit: str = "mm") -> list[str]:
    """Height, tilt, mass, tip angles and springs of one stack, a line each."""
    error = stack.error_m
    side = "at ear height" if abs(error) < 0.0005 else f"{_fine(abs(error), unit)} too {'high' if error > 0 else 'low'}"
    lines = [f"top at {_fine(stack.height_m, unit)}, axis at {_fine(stack.axis_height_m, unit)}: {side}"]
    if abs(stack.tilt_deg) >= LEVEL_DEG:
        way, edge = ("down", "rear") if stack.tilt_deg > 0 else ("up", "front")
        lines.append(
            f"tilt {abs(stack.tilt_deg):.1f} degrees {way} points at the ear: a wedge under its {edge} of "
            f"{_fine(wedge_m(stack.rest_m[1] - stack.rest_m[0], stack.tilt_deg), unit)}; the axis is then at "
            f"{_fine(stack.tilted_axis_height_m, unit)}"
        )
    else:
        lines.append("no tilt is needed")
    forward = stack.centre_of_gravity_m[0]
    place = "over the middle"
    if _fine(abs(forward), unit) != _fine(0.0, unit):
        place = f"{_fine(abs(forward), unit)} {'ahead of' if forward > 0 else 'behind'} the middle"
    lines.append(
        f"{mass_words(stack.mass_kg, unit, 1)} in all, {stack.pieces} piece{'s' * (stack.pieces != 1)} and the "
        f"cabinet; centre of gravity {_fine(stack.centre_of_gravity_m[1], unit)} up, {place}"
    )
    tips = stack.tips
    angles = (tips.forward_deg, tips.rearward_deg, tips.sideways_deg)
    ways = [
        f"{way} {angle:.1f} (over {_short(name)})"
        for way, angle, name in zip(("forward", "rearward", "sideways"), angles, stack.weakest, strict=True)
    ]
    lines.append(f"degrees of lean at which it tips: {', '.join(ways)}")
    if tips.least_deg <= 0.0:
        lines.append("STOP: it does not stand by itself; move the cabinet over the stack or take wider pieces")
    elif tips.least_deg < TIP_WARNING_DEG:
        lines.append(
            f"WARNING: it tips before {TIP_WARNING_DEG:.0f} degrees (tilt test of IEC 62368-1, second-hand): widen "
            "the foot, lower it, or strap it to the wall"
        )
    elif tips.least_deg < TIP_TO_SPARE_DEG:
        lines.append(
            f"it only just stands: it tips before {TIP_TO_SPARE_DEG:.0f} degrees (common practice, no source); strap "
            "it, or widen the foot"
        )
    if abs(stack.tilt_deg) > TILT_LIMIT_DEG:
        lines.append(f"WARNING: tilted beyond {TILT_LIMIT_DEG:.0f} degrees the cabinet may slide; strap it")
    if stack.overhang_m > 0.001:
        lines.append(f"the cabinet sticks out over the top layer by {_fine(stack.overhang_m, unit)}")
    return [*lines, *_springs(stack, lowest_hz, unit)]


def _springs(stack: Stack, lowest_hz: float, unit: str) -> list[str]:
    if stack.deflection_m <= 0.0:
        return ["nothing soft: what the cabinet shakes goes into the stack and the floor"]
    own = stack.spring_hz
    above = ISOLATES_ABOVE * own
    pressed = _fine(stack.deflection_m, unit) if is_imperial(unit) else f"{1000.0 * stack.deflection_m:.1f} mm"
    words = f"soft layers are pressed by {pressed}: natural frequency {own:.1f} Hz, isolates above {above:.1f} Hz; "
    if lowest_hz > above:
        return [f"{words}at the lowest note ({hertz(lowest_hz)}) it isolates"]
    return [
        f"{words}at the lowest note ({hertz(lowest_hz)}) it does not isolate"
        + (": it amplifies there" if lowest_hz > 0.5 * own else "")
    ]


def _hollows(pieces: Sequence[Piece], unit: str) -> list[str]:
    lines = []
    for piece in pieces:
        if piece.hollow_m3 > 0.0:
            fills = ", ".join(
                f"{mass_words(kg, unit, 1)} of {name}" for name, kg in fill_masses_kg(piece.hollow_m3).items()
            )
            lines.append(f'The hollow of "{piece.words}" ({1000.0 * piece.hollow_m3:g} l) takes {fills}.')
    return [*lines, ""] if lines else []


def _assumptions(pieces: Sequence[Piece], lowest_hz: float, unit: str) -> list[str]:
    said = [
        "The centre of gravity of the cabinet, of each piece and of a stand is its middle; heavy magnets, "
        "amplifiers and "
        "filled feet shift it.",
        "Every layer lies in the middle of the one below, longer side front to back, with nothing glued: whatever lies "
        "above a joint may tip about its edge.",
        f"The lowest note is {hertz(lowest_hz)}; soft layers are linear springs and what lies between two is light.",
    ]
    guessed = [f'"{piece.words}" {mass_words(piece.mass_kg, unit, 1)}' for piece in pieces if not piece.mass_given]
    if guessed:
        said.append(f"Not weighed, so guessed from the usual density: {', '.join(guessed)}.")
    if any(piece.compression_m > 0.0 and piece.compression_at_kg == 0.0 for piece in pieces):
        said.append("A compression given without its load is taken to be that under this load.")
    return said


def _short(name: str) -> str:
    return name if name == "the floor" else f"the {name}"


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent)


def _fine(metres: float, unit: str) -> str:
    """A length as one builds to it: a millimetre, or a sixteenth of an inch."""
    return format_length(metres, unit if is_imperial(unit) else "mm")
