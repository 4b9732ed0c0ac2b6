"""Limits that a layout has to keep: sight lines, triangle, tilt, reach, and boxes that stay on their feet.

Each limit says by how much it is broken, so that a search finds its way back: nothing is a cliff.  Values are common
practice, no source, unless one is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.answers import printable
from sim.blueprint.schema import Blueprint
from sim.blueprint.units import small_words
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker
from sim.placement.sheet import sight_lines
from sim.placement.stops import TILT_LIMIT_DEG

Path = tuple[str | int, ...]
"""Where a number stands in a scene."""

REACH_M: Final = (0.10, 0.60)
"""How far the ear may be behind the listener-side edge of a desk that is worked at: nearer there is no room for the
body, farther the controls are out of reach."""
CLEAR_M: Final = 0.01
"""Every driver is seen past all edges by this much, so that a hand's slip does not hide it."""
TRIANGLE_DEG: Final = (50.0, 70.0)
"""Angle of a left and a right loudspeaker at the seat; 60 is usual (ITU-R BS.775)."""
FIRM_DEG: Final = 10.0
"""A box has to stand when tipped this much further: a test angle of IEC 62368-1 (second-hand)."""
NEAR_M: Final = 0.005
NEAR_FRACTION: Final = 0.1
"""A limit that is kept by less than this share of its scale is told as what holds a layout back."""


@printable
@dataclass(frozen=True, slots=True)
class Limit:
    """One limit as a layout keeps or breaks it.

    Attributes
    ----------
    kind
        "sight", "triangle", "tilt", "reach" or "stand".
    words
        What it is, with numbers.
    broken
        0 where it is kept; else by how much, as a share of what is usual for it.
    near
        Whether it is kept, but only just.
    """

    kind: str
    words: str
    broken: float
    near: bool


def limits_of(blueprint: Blueprint, built: BuiltScene, moved: Sequence[Path] | None = None) -> tuple[Limit, ...]:
    """Return every limit that a layout breaks or only just keeps.

    With `moved`, places of numbers in the scene, triangle and reach are only looked at when one of these changes
    them: a search among desks does not refuse a seat that was there before.
    """
    found = [*_sight(built, blueprint.units), *_tilt(blueprint, built), *_stand(blueprint, built)]
    if moved is None or any(_moves_the_triangle(place) for place in moved):
        found += _triangle(built)
    if moved is None or any(_moves_the_reach(place) for place in moved):
        found += _reach(blueprint)
    return tuple(one for one in found if one.broken > 0.0 or one.near)


def what_is_not_judged(blueprint: Blueprint) -> tuple[str, ...]:
    """Sentences on limits that the numbers of a scene do not allow to be judged."""
    notes = []
    on_stands = [one.name for one in blueprint.loudspeakers if one.standing == "stand"]
    if on_stands:
        notes.append(
            f"whether the stands of {' and '.join(on_stands)} may tip over: a scene does not know the size of their "
            "base; only the cabinet on its top plate is looked at"
        )
    if any(one.standing == "position" for one in blueprint.loudspeakers):
        notes.append("what carries monitors given by position only")
    if not _reaches(blueprint):
        notes.append("reach: no desk stands before the seat")
    return tuple(notes)


def _sight(built: BuiltScene, unit: str) -> list[Limit]:
    """The direct sound of no driver may be hidden from the first seat, nor pass an edge by less than a centimetre."""
    found = []
    for line in sight_lines(built):
        if line.listener != built.listener_names[0]:
            continue
        who, clear = f"the {line.driver} of {line.loudspeaker}", line.clearance_m
        words = f"the {line.nearest} nearly hides {who}, which is seen past it by {small_words(clear, unit)}"
        if line.hidden_by:
            words, clear = f"{who} is hidden by the {line.hidden_by}, {small_words(clear, unit)} deep", -clear
        found.append(Limit("sight", words, max(CLEAR_M - clear, 0.0), CLEAR_M <= clear < CLEAR_M + NEAR_M))
    return found


def _triangle(built: BuiltScene) -> list[Limit]:
    """Angle between the first left and the first right loudspeaker, the second of both, and so on."""
    sides = {side: [one for one in built.loudspeakers if one.side == side] for side in ("left", "right")}
    found = []
    for left, right in zip(sides["left"], sides["right"], strict=False):
        ways = [one.axis_point - built.ears[0] for one in (left, right)]
        cosine = float(ways[0] @ ways[1]) / float(np.linalg.norm(ways[0]) * np.linalg.norm(ways[1]))
        angle = float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))
        low, high = TRIANGLE_DEG
        words = f"{left.name} and {right.name} span {angle:.1f} degrees at the seat"
        found.append(_upper("triangle", f"{words}, {high:g} are the most", angle, high, high - low))
        found.append(_upper("triangle", f"{words}, {low:g} are the least", -angle, -low, high - low))
    return found


def _moves_the_triangle(place: Path) -> bool:
    return place[:2] == ("listener", "ear") or (place[0] == "loudspeakers" and "acoustic_axis" in place)


def _moves_the_reach(place: Path) -> bool:
    return place[:2] == ("listener", "ear") or place[0] == "furniture"


def _tilt(blueprint: Blueprint, built: BuiltScene) -> list[Limit]:
    found = []
    for record, placed in zip(blueprint.loudspeakers, built.loudspeakers, strict=True):
        if record.strap.strip() or record.standing == "built in":
            continue
        tilt = abs(placed.tilt_deg)
        words = f"{placed.name} is tilted {tilt:.1f} degrees, {TILT_LIMIT_DEG:g} are the most without a strap"
        found.append(_upper("tilt", words, tilt, TILT_LIMIT_DEG, TILT_LIMIT_DEG))
    return found


def _reach(blueprint: Blueprint) -> list[Limit]:
    found, unit = [], blueprint.units
    for name, away in _reaches(blueprint):
        words = f"the ear is {small_words(away, unit)} behind the listener-side edge of the {name}"
        low, high = REACH_M
        found.append(_upper("reach", f"{words}, {small_words(high, unit)} are the most", away, high, high - low))
        found.append(_upper("reach", f"{words}, {small_words(low, unit)} are the least", -away, -low, high - low))
    return found


def _reaches(blueprint: Blueprint) -> list[tuple[str, float]]:
    """Names of the desks at which the ear is, and how far in metres it is behind the edge of each."""
    ear = blueprint.listener.ear
    found = [(item.name, item.reach_m(ear.from_front, ear.from_left)) for item in blueprint.furniture]
    return [(name, away) for name, away in found if not np.isnan(away)]


def _stand(blueprint: Blueprint, built: BuiltScene) -> list[Limit]:
    """A box tips about the edge of its own foot: atan(half the foot/half the height), less its tilt.

    Its mass is taken as even over its volume.
    """
    found = []
    for record, placed in zip(blueprint.loudspeakers, built.loudspeakers, strict=True):
        spare = spare_tip_deg(placed)
        if record.standing not in ("desk", "stand") or record.strap.strip() or spare is None:
            continue
        words = f"{placed.name} tips when leant {spare:.1f} degrees further, {FIRM_DEG:g} are the least"
        found.append(_upper("stand", words, -spare, -FIRM_DEG, FIRM_DEG))
    return found


def spare_tip_deg(placed: PlacedLoudspeaker) -> float | None:
    """Degrees by which a box on a flat top may still be leant before it tips; None when it has no box."""
    size = placed.model.cabinet_size_m
    if size is None:
        return None
    width, height, depth = size
    if abs(np.cos(np.radians(placed.roll_deg))) < abs(np.sin(np.radians(placed.roll_deg))):
        width, height = height, width  # on its side
    along = np.degrees(np.arctan2(depth, height)) - abs(placed.tilt_deg)
    return float(min(along, np.degrees(np.arctan2(width, height))))


def _upper(kind: str, words: str, value: float, most: float, scale: float) -> Limit:
    over = (value - most) / scale
    return Limit(kind, words, max(over, 0.0), -NEAR_FRACTION < over <= 0.0)
