"""Which sides of a facet's rim end in the air: there a reflection fades, everywhere else the room goes on.

A side is bare where an edge that sticks out runs along it and no other surface lies against it: the front edge of a
desk, all four of the side of a cabinet on a stand.  Not bare are the corners of a room, the foot of a cupboard, the
rear edge of a desk that stands against the wall: there the image in the next surface carries the sound on.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from sim.arrays import BoolArray, FloatArray, frozen
from sim.geometry.room import Room

TOUCH_M = 1.0e-3
"""Nearer than this to another surface, a side is not bare."""
ON_LINE_M = 1.0e-4
FRACTIONS = np.linspace(0.05, 0.95, 7)
"""Places along a side that are looked at; it is bare when more than half of them are (common practice, no source)."""
MOST_PAIRS = 2_000_000
"""In rooms with more pairs of edge and facet than this (scans) no side is called bare."""


class _Same:
    """A room, the same only as itself: what is known of it is kept without comparing its arrays."""

    def __init__(self, room: Room) -> None:
        self.room = room

    def __hash__(self) -> int:
        return id(self.room)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.room is self.room


def bare_sides(room: Room) -> BoolArray:
    """Return (r,): whether each side of `room.arrays.rim` is bare, over more than half of its length."""
    return _bare_sides(_Same(room))


@lru_cache(maxsize=8)
def _bare_sides(same: _Same) -> BoolArray:
    room = same.room
    arrays, out = room.arrays, room.edges.sticking_out
    bare = np.zeros(len(arrays.rim), dtype=np.bool_)
    if not 0 < len(out) * len(room.facets) <= MOST_PAIRS:
        return frozen(bare)
    ends, pairs = room.edges.ends[out], room.edges.facets[out]
    planes = np.where(pairs >= 0, arrays.plane[pairs], -1)
    for f in range(len(room.facets)):
        mine = np.flatnonzero((planes == arrays.plane[f]).any(axis=1))
        if not mine.size:
            continue
        for row in range(arrays.rim_start[f], arrays.rim_start[f + 1]):
            side = room.facets[f].from_plane(arrays.rim[row].reshape(2, 2))
            points = side[0] + FRACTIONS[:, None] * (side[1] - side[0])
            edge = _edge_at(points, ends[mine])
            bare[row] = sum(
                n >= 0 and not _covered(room, p, pairs[mine[n]]) for p, n in zip(points, edge, strict=True)
            ) > (len(points) // 2)
    return frozen(bare)


def _edge_at(points: FloatArray, ends: FloatArray) -> list[int]:
    """For each point (n, 3) the number of an edge (e, 2, 3) that it lies on, or -1."""
    along = ends[:, 1] - ends[:, 0]
    square = np.maximum((along**2).sum(axis=1), 1e-30)
    place = np.clip(((points[:, None] - ends[:, 0]) * along).sum(axis=2) / square, 0.0, 1.0)
    away = np.linalg.norm(points[:, None] - ends[:, 0] - place[..., None] * along, axis=2)
    nearest = away.argmin(axis=1)
    return [int(n) if away[i, n] < ON_LINE_M else -1 for i, n in enumerate(nearest)]


def _covered(room: Room, point: FloatArray, beside: FloatArray) -> bool:
    """Whether a surface other than those beside an edge (2,) lies against a point of it."""
    near = np.abs(room.arrays.normal @ point - room.arrays.offset) < TOUCH_M
    near[beside[beside >= 0]] = False
    return any(room.facets[int(f)].covers(point, TOUCH_M) for f in np.flatnonzero(near))
