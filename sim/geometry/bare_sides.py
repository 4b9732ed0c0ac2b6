"""Which sides of a facet's rim end in the air: there a reflection fades, everywhere else the room goes on.

A side is bare where an edge that sticks out runs along it and no other surface lies against it: the front edge of a
desk, all four of the side of a cabinet on a stand.  Not bare are the corners of a room, the foot of a cupboard, the
rear edge of a desk that stands against the wall: there the image in the next surface carries the sound on.  A side a
little off another surface is something between: `side_openness`.
"""

from __future__ import annotations

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray, KeptFor, frozen
from sim.geometry.facets import Facet
from sim.geometry.room import Room

TOUCH_M = 1.0e-3
"""Nearer than this to another surface, a side is not bare."""
OPEN_M = 40.0e-3
"""A slot this wide leaves what is beside it as it is."""
FRACTIONS = np.linspace(0.05, 0.95, 7)
"""Places along a side that are looked at; it is bare when more than half of them are (common practice, no source)."""
MOST_PAIRS = 2_000_000
"""In rooms with more pairs of edge and facet than this (scans) no side is called bare."""


_kept: KeptFor[BoolArray] = KeptFor(8)
_kept_openness: KeptFor[FloatArray] = KeptFor(8)


def fade_of_gap(gap_m: FloatArray) -> FloatArray:
    """Weights of edges that lie `gap_m` off another surface: 0 to `TOUCH_M`, 1 from `OPEN_M` on (ours, no source)."""
    fraction = np.clip((gap_m - TOUCH_M) / (OPEN_M - TOUCH_M), 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * fraction) ** 2)


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


def side_openness(room: Room) -> FloatArray:
    """Return (r,): 0 where a side of `room.arrays.rim` is not bare, 1 where it is, between where a surface lies close.

    Weights are those of the edges there (`fade_of_gap`): what an image loses at its rim and what the edge sends on
    belong together, and a gap that opens switches neither.
    """
    known = _kept_openness.find(room)
    return _kept_openness.keep(_side_openness(room), room) if known is None else known


def _side_openness(room: Room) -> FloatArray:
    arrays, bare = room.arrays, bare_sides(room)
    opened = bare.astype(np.float64)
    rows = np.flatnonzero(bare)
    facet = np.searchsorted(arrays.rim_start, rows, side="right") - 1
    frame, sides = arrays.frame[facet], arrays.rim[rows]
    ends = [
        frame[:, 0] + sides[:, [n]] * frame[:, 1] + sides[:, [n + 1]] * frame[:, 2]  # (u, v) in the facet's own frame
        for n in (0, 2)
    ]
    weights, near = weights_near(room, np.stack(ends, axis=1), arrays.owner[facet])
    for n, f in np.argwhere(near):
        places = ends[0][n] + FRACTIONS[:, None] * (ends[1][n] - ends[0][n])
        if lying_over(room.facets[f], places).sum() > len(FRACTIONS) // 2:
            opened[rows[n]] = min(opened[rows[n]], float(weights[n, f]))
    return frozen(opened)


def weights_near(room: Room, ends: FloatArray, owner: IntArray) -> tuple[FloatArray, BoolArray]:
    """`fade_of_gap` (e, f) of lines with ends (e, 2, 3) over the planes of facets, and which planes lie close.

    The gap is that of the farther end: a line that leaves a plane is open.  Facets of its owner (e,) are not close.
    """
    heights = np.einsum("exi,fi->efx", ends, room.arrays.normal) - room.arrays.offset[:, None]
    near = (heights.max(axis=2) < OPEN_M) & (heights.min(axis=2) > -TOUCH_M)
    return fade_of_gap(heights.max(axis=2)), near & (owner[:, None] != room.arrays.owner)


def lying_over(facet: Facet, places: FloatArray) -> BoolArray:
    """Whether the foot of each place (n, 3) on the plane of a facet lies on the facet."""
    feet = places - (places @ facet.normal - facet.offset_m)[:, None] * facet.normal
    return np.array([facet.covers(foot, TOUCH_M) for foot in feet])
