"""Bodies that stand free, round which sound may bend twice, and what of their edges is seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import FloatArray
from ..geometry.room import Room
from .bare_edges import bare_stretches
from .beams import facet_tuple
from .convex import ConvexBody, convex_body

JOIN_M = 2.0e-5
CONVEX_M = 1.0e-3
"""A corner may stand out from the plane of another face of its body by this much, and the body still be convex."""
CELLS = 16
"""Cells along an edge between which sight is asked."""


def seen_shares(room: Room, number: int, body: ConvexBody, source: FloatArray, ear: FloatArray, own: int) -> FloatArray:
    """Shares (2, e) of the length of each edge of a free body that the source sees, and the ear.

    number: of its owner; own: number of the loudspeaker's own cabinet, which does not hide its driver.  The body hides
    its far edges itself.
    """
    from .sight_kernels import clear_stretches

    planes = room.arrays.plane[np.flatnonzero(room.arrays.owner == number)][body.faces_of_edge]
    start, along, _, _, length, _ = body.wedges
    nothing = np.zeros(0, dtype=np.int64)
    facets, shares = facet_tuple(room), np.zeros((2, len(length)))
    for side, (end, passed) in enumerate(((source, own), (ear, -1))):
        looks = (end[None].copy(), nothing, end[None].copy(), nothing, CELLS)
        for e in range(len(length)):
            edge = np.stack([start[e], start[e] + length[e] * along[e]])
            stretches = clear_stretches(end, end, edge, planes[e], passed, looks, facets, room.ray_arrays)
            shares[side, e] = np.diff(stretches, axis=1).sum()
    return shares


def length_over_two_edges(body: ConvexBody, source: FloatArray, ear: FloatArray) -> float:
    """Length of about the shortest way over two edges of a body: over the middles of its nearest edges."""
    middles = body.wedges[0] + 0.5 * body.wedges[4][:, None] * body.wedges[1]
    over = np.linalg.norm(middles - source, axis=1)[:, None] + np.linalg.norm(ear - middles, axis=1)[None, :]
    over = over + np.linalg.norm(middles[:, None] - middles[None], axis=2)
    np.fill_diagonal(over, np.inf)
    return float(over.min())


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


def free_bodies(room: Room, own: int = -1) -> dict[int, ConvexBody]:
    """Return the convex bodies that touch nothing else, by number of owner, the cabinet `own` left out.

    The stated rule for two edges in turn: a plate or box counts if all its edges are bare over their whole length.
    """
    bare = {edge for edge, stretches in bare_stretches(room).items() if np.diff(stretches, axis=1).sum() == 1.0}
    found: dict[int, ConvexBody] = {}
    for number in range(1, len(room.owners)):
        facets = [facet for facet in room.facets if facet.owner == room.owners[number]]
        mine = [e for e in room.edges.sticking_out if room.arrays.owner[room.edges.facets[e, 0]] == number]
        if number == own or len(facets) < 4 or not set(mine) <= bare:
            continue
        corners = [facet.corners for facet in facets]
        points = np.concatenate(corners)
        if max(float((points @ facet.normal - facet.offset_m).max()) for facet in facets) > CONVEX_M:
            continue
        wound = [
            ring if np.cross(ring - ring[0], np.roll(ring, -1, axis=0) - ring[0]).sum(axis=0) @ facet.normal > 0.0
            else ring[::-1]
            for ring, facet in zip(corners, facets, strict=True)
        ]  # fmt: skip
        joined, corner_count = _joined_corners(wound)
        try:
            body = convex_body(joined)
        except ValueError:
            continue
        if len(body.faces) - len(body.wedges[4]) + corner_count == 2:
            found[number] = body
    return found
