"""Bare edges, which stick out into the air, and convex bodies, round which sound may go twice and thrice.

Where another surface lies along an edge (the foot of a cupboard, a desk flush with a wall, two plates that continue
each other, three and more facets of a mesh that meet in one line) there is no edge: what is left of the air beside it
is no more than half a turn.  An edge may be bare over a part of its length only.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.arrays import FloatArray, IntArray, frozen
from sim.geometry.facets import Facet
from sim.geometry.room import Room
from sim.propagation.edges.convex import ConvexBody, convex_body
from sim.propagation.mirrors.beams import facet_tuple

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
    def bare(fraction: float) -> bool:
        point = ends[0] + fraction * (ends[1] - ends[0])
        return not any(facet.covers(point, within) for facet, within in beside)

    # the very ends touch neighbours in every corner
    fractions = np.linspace(1.0e-2, 1.0 - 1.0e-2, CELLS + 1).tolist()
    seen = [bare(fraction) for fraction in fractions]
    borders = [0.0] if seen[0] else []
    for low, high, was, here in zip(fractions, fractions[1:], seen, seen[1:], strict=False):
        if was == here:
            continue
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if bare(middle) == was else (low, middle)
        borders.append(low)
    if seen[-1]:
        borders.append(1.0)
    return np.array(borders, dtype=np.float64).reshape(-1, 2)


def images(room: Room, point: FloatArray, sequence: Sequence[int]) -> FloatArray:
    """Images (k + 1, 3) of a point in the facets of a sequence, one after the other; the first is the point itself."""
    row = [np.asarray(point, dtype=np.float64)]
    for f in sequence:
        normal, offset = room.arrays.normal[f], room.arrays.offset[f]
        row.append(row[-1] - 2.0 * (normal @ row[-1] - offset) * normal)
    return np.array(row)


# Convex bodies, round which sound may go more than once, and what of their edges is seen.

JOIN_M = 2.0e-5
CONVEX_M = 1.0e-3
"""A corner may stand out from the plane of another face of its body by this much, and the body still be convex."""
CELLS_ON_BODIES = 16
"""Cells along an edge between which sight is asked."""


def seen_fractions(
    room: Room,
    number: int,
    body: ConvexBody,
    source: FloatArray,
    ear: FloatArray,
    own: int,
    before: Sequence[int] = (),
    after: Sequence[int] = (),
) -> FloatArray:
    """Shares (2, e) of the length of each edge of a free body that the source sees, and the ear.

    number: of its owner; own: number of the loudspeaker's own cabinet, which does not hide its driver.  The body hides
    its far edges itself.  before, after: facets that mirror between source and edge, and between ear and edge.
    """
    from sim.propagation.edges.leg_kernels import seen_shares

    planes = room.arrays.plane[np.flatnonzero(room.arrays.owner == number)][body.faces_of_edge]
    start, along, _, _, length, _ = body.wedges
    edges = np.stack([start, start + length[:, None] * along], axis=1)
    facets, fractions = facet_tuple(room), np.zeros((2, len(length)))
    for side, (end, passed, mirrors) in enumerate(((source, own, before), (ear, -1, after))):
        way = images(room, end, mirrors), np.array(mirrors, dtype=np.int64)
        looks = (*way, *way, CELLS_ON_BODIES)
        fractions[side] = seen_shares(end, edges, planes, passed, looks, facets, room.ray_arrays)
    return fractions


def shortest_over_two_edges(body: ConvexBody, source: FloatArray, ear: FloatArray) -> tuple[float, FloatArray]:
    """Length of about the shortest path over two edges of a body, and the middles (2, 3) of these two edges."""
    middles = body.wedges[0] + 0.5 * body.wedges[4][:, None] * body.wedges[1]
    over = np.linalg.norm(middles - source, axis=1)[:, None] + np.linalg.norm(ear - middles, axis=1)[None, :]
    over = over + np.linalg.norm(middles[:, None] - middles[None], axis=2)
    np.fill_diagonal(over, np.inf)
    first, last = np.unravel_index(over.argmin(), over.shape)
    return float(over[first, last]), middles[[first, last]]


def _joined_corners(rings: Sequence[FloatArray]) -> tuple[list[FloatArray], int]:
    """Rings whose corners nearer than JOIN_M to each other are the same numbers, and how many corners there are.

    Facets round their corners on grids of their own, so that one corner of a turned box comes in three versions.
    """
    kept: list[FloatArray] = []

    def known(corner: FloatArray) -> FloatArray:
        for other in kept:
            if float(np.abs(other - corner).max()) < JOIN_M:
                return other
        kept.append(corner)
        return corner

    return [np.array([known(corner) for corner in ring]) for ring in rings], len(kept)


def free_bodies(room: Room, own: int = -1, stretches: dict[int, FloatArray] | None = None) -> dict[int, ConvexBody]:
    """Return the convex bodies of which some edge is bare, by number of owner, the cabinet `own` left out.

    stretches: what `bare_stretches` says, if known already.
    How much of each edge sound may go round says `openness.chain_weights`.
    """
    bare = {int(room.arrays.owner[room.edges.facets[edge, 0]]) for edge in stretches or bare_stretches(room)}
    found: dict[int, ConvexBody] = {}
    for number in range(1, len(room.owners)):
        facets = [facet for facet in room.facets if facet.owner == room.owners[number]]
        if number == own or len(facets) < 4 or number not in bare:
            continue
        corners = [facet.corners for facet in facets]
        points = np.concatenate(corners)
        if max(float((points @ facet.normal - facet.offset_m).max()) for facet in facets) > CONVEX_M:
            continue
        wound = [
            ring
            if np.cross(ring - ring[0], np.roll(ring, -1, axis=0) - ring[0]).sum(axis=0) @ facet.normal > 0.0
            else ring[::-1]
            for ring, facet in zip(corners, facets, strict=True)
        ]
        joined, corner_count = _joined_corners(wound)
        try:
            body = convex_body(joined)
        except ValueError:
            continue
        if len(body.faces) - len(body.wedges[4]) + corner_count == 2:
            found[number] = body
    return found
