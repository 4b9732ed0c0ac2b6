"""Whether a room is alike on both sides of the seat: rays from the ear to the right, and their mirror images.

Distances straight to the left and right say nothing of a corner that is cut off behind the seat, nor of a slope that
begins above the ear.
"""

from __future__ import annotations

from collections import Counter
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.geometry.room import first_hit
from sim.placement.built_scene import BuiltScene

LOOKS: Final = 160
"""Directions to the right that are looked in, evenly over the half sphere."""
ALIKE_M, ALIKE_FRACTION = 0.05, 0.02
"""Distances that differ by less, or by less of themselves, are alike: tapes and walls are no better (common practice,
no source)."""
FEWEST: Final = 3
"""So many looks must differ: fewer are the rims of small things."""


def looks_to_the_right(count: int) -> FloatArray:
    """Unit vectors (count, 3) over the half sphere to the right of a person who faces the front wall.

    A spiral, so that none lies in a plane or along an edge of a box room.
    """
    number = np.arange(count) + 0.5
    across = number / count
    turn = np.pi * (1.0 + np.sqrt(5.0)) * number
    around = np.sqrt(1.0 - across**2)
    return np.stack([around * np.cos(turn), across, around * np.sin(turn)], axis=1)


def unlike_sides(built: BuiltScene) -> str:
    """Say where the two sides of the seat differ most, or nothing where they are mirror images of each other."""
    ear, room = built.ears[0], built.room
    found: Counter[tuple[str, str]] = Counter()
    for right in looks_to_the_right(LOOKS):
        (to_right, r), (to_left, f) = (first_hit(room, ear, look) for look in (right, right * (1.0, -1.0, 1.0)))
        if f < 0 or r < 0 or abs(to_right - to_left) <= max(ALIKE_M, ALIKE_FRACTION * max(to_right, to_left)):
            continue
        found[(room.facets[f].name, room.facets[r].name)] += 1
    if sum(found.values()) < FEWEST:
        return ""
    left, right_name = found.most_common(1)[0][0]
    return f"the sides of the room differ: {left} on the left, at the same angle {right_name} on the right"
