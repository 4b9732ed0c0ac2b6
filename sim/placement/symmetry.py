"""Whether a room is its own mirror image, left to right: which of its surfaces have nothing like them opposite."""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.arrays import BoolArray, FloatArray
from sim.geometry.facets import Facet
from sim.geometry.room import Room

LIKE_M: Final = 0.02
"""A surface opposite may lie this far from where the mirror image would be (tapes and old walls; our choice)."""
LIKE_COSINE: Final = float(np.cos(np.radians(3.0)))
FACED_FRACTION: Final = 0.6
SMALLEST_M2: Final = 0.05
"""Smaller surfaces, such as the rim of a hatch, are not asked."""
MOST_NAMED: Final = 3
"""So many are named; of more it is said how many."""
_MIRRORED: Final = np.array([1.0, -1.0, 1.0])


def unlike_sides(room: Room) -> str:
    """Say which surfaces have nothing like them opposite, or nothing where the room is its own mirror image."""
    alone = without_counterpart(room)
    more = f" and {len(alone) - MOST_NAMED} more" if len(alone) > MOST_NAMED else ""
    named = ", ".join(f"the {name}" for name in alone[:MOST_NAMED])
    return f"the room itself is not alike on both sides: no mirror image of {named}{more}" if alone else ""


def without_counterpart(room: Room) -> tuple[str, ...]:
    """Names of surfaces of the room that have nothing like them opposite, mirrored about the middle of its width.

    Each is asked all over: is there a surface of the room at the mirror image of that point, turned the mirrored way?
    It is named where that holds for less than six tenths of it.  What a wall is made of, and furniture, are not asked.
    """
    own = np.flatnonzero(room.owner_of_triangle == 0)
    triangles = room.triangles[own]
    across = triangles[..., 1]
    middle = 0.5 * float(across.min() + across.max())
    numbers = room.facet_of_triangle[own]
    turned = np.array([facet.normal if facet.owner == room.owners[0] else np.zeros(3) for facet in room.facets])
    names: dict[str, None] = {}
    for number in sorted(set(numbers.tolist())):
        facet = room.facets[number]
        if facet.area_m2 < SMALLEST_M2:
            continue
        spots, weights = _spread(triangles[numbers == number])
        spots = np.stack([spots[:, 0], 2.0 * middle - spots[:, 1], spots[:, 2]], axis=1)
        faced = np.zeros(len(spots), dtype=bool)
        for other in np.flatnonzero(turned @ (facet.normal * _MIRRORED) >= LIKE_COSINE):
            faced |= _lies_on(room.facets[int(other)], spots)
        if weights @ faced < FACED_FRACTION * weights.sum():
            names.setdefault(facet.name)
    return tuple(names)


def _spread(triangles: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points (n, 3) all over triangles (t, 3, 3), middles of quarters of their quarters, and what each stands for."""
    for _ in range(2):
        a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
        ab, bc, ca = 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)
        quarters = [(a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca)]
        triangles = np.concatenate([np.stack(quarter, axis=1) for quarter in quarters])
    sides = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return triangles.mean(axis=1), 0.5 * np.linalg.norm(sides, axis=1)


def _lies_on(facet: Facet, spots: FloatArray) -> BoolArray:
    """Which of some points (n, 3) lie on a facet, as tapes and walls go."""
    away = spots @ facet.normal - facet.offset_m
    return np.array(
        [
            abs(far) <= LIKE_M and facet.covers(spot - far * facet.normal, LIKE_M)
            for spot, far in zip(spots, away, strict=True)
        ]
    )
