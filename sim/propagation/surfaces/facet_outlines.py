"""Outlines of facets: rings of the rim, let out to infinity across the sides that are not bare."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from sim.arrays import BoolArray, FloatArray
from sim.geometry.facets import Facet
from sim.geometry.room import Room

FAR_M = 10.0
"""How far a polygon goes on across a side that is not bare: ten Fresnel zones and more."""


def outlines(room: Room, f: int, bare: BoolArray) -> tuple[tuple[float, FloatArray], ...]:
    """Rings of a facet with their sign: the outline (+1) and holes with bare sides (-1), corners (n, 3) in the room.

    bare: (r,) which sides of the facet's rim end in the air.
    """
    first, last = room.arrays.rim_start[f], room.arrays.rim_start[f + 1]
    facet = room.facets[f]
    rings = _rings(room.arrays.rim[first:last].tobytes(), bare.tobytes())
    outline, holes = _mine(facet, rings)
    found = [(1.0, facet.from_plane(_let_out(*rings[outline])))]
    found += [(-1.0, facet.from_plane(rings[hole][0])) for hole in holes if rings[hole][1].all()]
    return tuple(found)


@lru_cache(maxsize=512)
def _rings(sides: bytes, bare: bytes) -> tuple[tuple[FloatArray, BoolArray], ...]:
    """Closed rings of sides: corners (n, 2), and whether the side from each corner on is bare (n,)."""
    rows, flags = np.frombuffer(sides).reshape(-1, 4), np.frombuffer(bare, dtype=np.bool_)
    breaks = np.flatnonzero(np.abs(rows[1:, :2] - rows[:-1, 2:]).max(axis=1) > 1e-9) + 1
    parts = np.split(np.arange(len(rows)), breaks)
    return tuple((rows[part, :2], flags[part]) for part in parts)


def _mine(facet: Facet, rings: tuple[tuple[FloatArray, BoolArray], ...]) -> tuple[int, list[int]]:
    """Which ring is the outline about a facet, and which are holes in it."""
    if len(rings) == 1:
        return 0, []
    import shapely

    shapes = [shapely.Polygon(corners) for corners, _ in rings]
    corner = shapely.Point(*facet.border[0, :2])
    about = [n for n, shape in enumerate(shapes) if shapely.distance(shape, corner) < 1e-6]
    middle = shapely.Point(*np.mean(facet.border[:, :2], axis=0))
    outline = max(about or range(len(shapes)), key=lambda n: (shapes[n].contains(middle), shapes[n].area))
    return outline, [n for n, shape in enumerate(shapes) if n != outline and shapes[outline].contains(shape)]


def _let_out(corners: FloatArray, bare: BoolArray) -> FloatArray:
    """Corners (m, 2) of the ring with the sides that are not bare moved out by `FAR_M`."""
    if bare.all():
        return corners
    ahead = np.roll(corners, -1, axis=0)
    turn = np.sign(np.sum(corners[:, 0] * ahead[:, 1] - corners[:, 1] * ahead[:, 0]))
    way = (ahead - corners) / np.linalg.norm(ahead - corners, axis=1)[:, None]
    out = turn * np.stack([way[:, 1], -way[:, 0]], axis=1)
    moved: list[FloatArray] = []
    for n, corner in enumerate(corners):
        before, after = n - 1, n
        if bare[before] and bare[after]:
            moved.append(corner)
        elif bare[before]:
            moved += [corner, corner + FAR_M * out[after]]
        elif bare[after]:
            moved += [corner + FAR_M * out[before], corner]
        else:
            both = 1.0 + float(out[before] @ out[after])
            moved.append(corner + FAR_M * (out[before] + out[after]) / max(both, 0.1))
    return np.array(moved)
