"""Where a reflection that nothing drawn explains could lie.

The way over a point is its distance from the loudspeaker and from the microphone together; all points with the same sum
lie on an ellipsoid with both as its foci.  A thing that reflects lies on it, and touches it from inside or outside: its
cut with the surfaces of the room is where something flat on a wall would be.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.geometry.room import Room
from sim.studies.match.records import PossibleSpot

GRID_M: Final = 0.04
"""Points on surfaces that are tried lie so far apart."""


def possible_spots(
    room: Room, source: FloatArray, ear: FloatArray, length_m: float, within_m: float
) -> tuple[PossibleSpot, ...]:
    """Surfaces cut by the ellipsoid of a way's length, and their points near that cut, most points first.

    within_m: how far the length may be off.
    """
    found: dict[tuple[str, str], list[FloatArray]] = {}
    for triangle, number in zip(room.triangles, room.facet_of_triangle, strict=True):
        points = _points_on(triangle)
        length = np.linalg.norm(points - source, axis=1) + np.linalg.norm(points - ear, axis=1)
        near = points[np.abs(length - length_m) <= within_m]
        if len(near):
            facet = room.facets[int(number)]
            found.setdefault((facet.name, facet.owner), []).append(near)
    spots = [PossibleSpot(*names, frozen(np.vstack(points))) for names, points in found.items()]
    return tuple(sorted(spots, key=lambda spot: (-len(spot.points), spot.surface)))


def _points_on(triangle: FloatArray) -> FloatArray:
    """Points (n, 3) spread over a triangle (3, 3)."""
    origin, first, second = triangle[0], triangle[1] - triangle[0], triangle[2] - triangle[0]
    steps = [max(2, int(np.ceil(float(np.linalg.norm(side)) / GRID_M)) + 1) for side in (first, second)]
    a, b = np.meshgrid(np.linspace(0.0, 1.0, steps[0]), np.linspace(0.0, 1.0, steps[1]), indexing="ij")
    inside = a + b <= 1.0 + 1e-9
    return np.asarray(origin + a[inside][:, np.newaxis] * first + b[inside][:, np.newaxis] * second)
