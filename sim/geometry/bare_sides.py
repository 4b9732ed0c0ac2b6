"""Which sides of a facet's rim end in the air: there a reflection fades, everywhere else the room goes on.

A side is bare where an edge that sticks out runs along it and no other surface lies against it: the front edge of a
desk, all four of the side of a cabinet on a stand.  Not bare are the corners of a room, the foot of a cupboard, the
rear edge of a desk that stands against the wall: there the image in the next surface carries the sound on.
"""

from __future__ import annotations

import numpy as np

from sim.arrays import BoolArray, KeptFor, frozen
from sim.geometry.room import Room

TOUCH_M = 1.0e-3
"""Nearer than this to another surface, a side is not bare."""
FRACTIONS = np.linspace(0.05, 0.95, 7)
"""Places along a side that are looked at; it is bare when more than half of them are (common practice, no source)."""
MOST_PAIRS = 2_000_000
"""In rooms with more pairs of edge and facet than this (scans) no side is called bare."""


_kept: KeptFor[BoolArray] = KeptFor(8)


def bare_sides(room: Room) -> BoolArray:
    """Return (r,): whether each side of `room.arrays.rim` is bare, over more than half of its length."""
    known = _kept.find(room)
    return _kept.keep(_bare_sides(room), room) if known is None else known


def _bare_sides(room: Room) -> BoolArray:
    from sim.geometry.flat_kernels import find_bare_sides

    arrays, out = room.arrays, room.edges.sticking_out
    bare = np.zeros(len(arrays.rim), dtype=np.bool_)
    if not 0 < len(out) * len(room.facets) <= MOST_PAIRS:
        return frozen(bare)
    pairs = room.edges.facets[out]
    planes = np.where(pairs >= 0, arrays.plane[pairs], -1)
    facets = (
        *(arrays.normal, arrays.offset, arrays.frame, arrays.plane),
        *(arrays.border, arrays.border_start, arrays.rim, arrays.rim_start),
    )
    return frozen(find_bare_sides(room.edges.ends[out], pairs, planes, FRACTIONS, TOUCH_M, facets))
