"""Whether a room is its own mirror image, left to right: which of its surfaces have nothing like them opposite."""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.geometry.room import Room

LIKE_M: Final = 0.02
"""A surface opposite may lie this far from where the mirror image would be (tapes and old walls; our choice)."""
LIKE_COSINE: Final = float(np.cos(np.radians(3.0)))
SMALLEST_M2: Final = 0.05
"""Smaller surfaces, such as the rim of a hatch, are not asked."""
_MIRRORED: Final = np.array([1.0, -1.0, 1.0])


def without_counterpart(room: Room) -> tuple[str, ...]:
    """Names of surfaces of the room that have nothing like them opposite, mirrored about the middle of its width.

    Each is asked at the middle of its largest triangle: is there a surface of the room at the mirror image of that
    point, turned the mirrored way?  What a wall is made of, and furniture, are not asked.
    """
    own = np.flatnonzero(room.owner_of_triangle == 0)
    triangles = room.triangles[own]
    across = triangles[..., 1]
    middle = 0.5 * float(across.min() + across.max())
    sizes = 0.5 * np.linalg.norm(np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1)
    numbers = room.facet_of_triangle[own]
    names: dict[str, None] = {}
    for number in np.unique(numbers):
        facet = room.facets[int(number)]
        if facet.area_m2 < SMALLEST_M2:
            continue
        mine = np.flatnonzero(numbers == number)
        spot = triangles[mine[np.argmax(sizes[mine])]].mean(axis=0)
        spot = np.array([spot[0], 2.0 * middle - spot[1], spot[2]])
        if not _faced(room, spot, facet.normal * _MIRRORED):
            names.setdefault(facet.name)
    return tuple(names)


def _faced(room: Room, spot: FloatArray, normal: FloatArray) -> bool:
    """Whether a surface of the room turned like `normal` (3,) is at a spot (3,)."""
    for facet in room.facets:
        if facet.owner != room.owners[0] or facet.normal @ normal < LIKE_COSINE:
            continue
        away = float(facet.normal @ spot) - facet.offset_m
        if abs(away) <= LIKE_M and facet.covers(spot - away * facet.normal, LIKE_M):
            return True
    return False
