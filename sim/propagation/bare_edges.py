"""Which edges of a room are bare: where they stick out into the air with nothing lying along them.

Where another surface lies along an edge (the foot of a cupboard, a desk flush with a wall, two plates that continue
each other, three and more facets of a mesh that meet in one line) there is no edge: what is left of the air beside it
is no more than half a turn.  An edge may be bare over a part of its length only.
"""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray, IntArray, frozen
from ..geometry.facets import Facet
from ..geometry.room import Room

TOUCH_M = 1.0e-3
"""Nearer than this to another body's surface, an edge is no edge: the foot of a cupboard on the floor."""
WELDED_M = 2.0e-4
"""The same for another facet of its own body, whose corners have been welded: thin plates keep their edges."""
CELLS = 32
HALVINGS = 30


def bare_stretches(room: Room) -> dict[int, FloatArray]:
    """Stretches (m, 2), as shares 0 .. 1 of its length, over which each edge that sticks out is bare; none: left out.

    An edge is looked at between 32 cells, and every border is halved down to 1e-9 of a cell.
    """
    out = room.edges.sticking_out
    ends, owner = room.edges.ends[out], room.arrays.owner
    away = np.abs(np.einsum("exi,fi->efx", ends, room.arrays.normal) - room.arrays.offset[:, None]).max(axis=2)
    within = np.where(owner[room.edges.facets[out, 0]][:, None] == owner, WELDED_M, TOUCH_M)
    near = away < within
    np.put_along_axis(near, np.maximum(room.edges.facets[out], 0), False, axis=1)
    found: dict[int, FloatArray] = {}
    for e, edge in enumerate(out.tolist()):
        beside = [(room.facets[f], float(within[e, f])) for f in np.flatnonzero(near[e])]
        stretches = _uncovered(ends[e], beside) if beside else np.array([[0.0, 1.0]])
        if len(stretches):
            found[edge] = frozen(stretches)
    return found


def bare_edges(room: Room) -> IntArray:
    """Numbers of the edges that are bare somewhere."""
    return np.array(list(bare_stretches(room)), dtype=np.int64)


def both(one: FloatArray, other: FloatArray) -> FloatArray:
    """What two sets of stretches, (m, 2) and (n, 2), have in common, in the order of the first."""
    shared = [(max(a, c), min(b, d)) for a, b in one for c, d in other]
    return np.array([pair for pair in shared if pair[1] > pair[0]]).reshape(-1, 2)


def _uncovered(ends: FloatArray, beside: list[tuple[Facet, float]]) -> FloatArray:
    def bare(share: float) -> bool:
        point = ends[0] + share * (ends[1] - ends[0])
        return not any(facet.covers(point, within) for facet, within in beside)

    # the very ends touch neighbours in every corner
    shares = np.linspace(1.0e-2, 1.0 - 1.0e-2, CELLS + 1).tolist()
    seen = [bare(share) for share in shares]
    borders = [0.0] if seen[0] else []
    for low, high, was, here in zip(shares, shares[1:], seen, seen[1:], strict=False):
        if was == here:
            continue
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if bare(middle) == was else (low, middle)
        borders.append(low)
    if seen[-1]:
        borders.append(1.0)
    return np.array(borders, dtype=np.float64).reshape(-1, 2)
