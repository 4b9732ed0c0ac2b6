"""What stands on a surface, and the surface: one closed body of the piece and its image.

Sound that runs along a screen from edge to edge is also reflected on the way, by the desk the screen stands on.  In a
wide rigid surface a body that stands on it acts as one twice as high, the lower half being its image, with source and
ear and their images about it (images in a rigid plane: Kuttruff, Room Acoustics, chapter 4).  The faces at its foot
continue each other there, so that an edge and the image of another share a face as two edges of one body do.

Chains then are split by the mirror before the first edge and the one after the last, as without images:
`chains.chain_work` asks for the first edge among the real ones, and for the last among the real ones with one ear and
among the images with its image.  What lies `gap_m` over a surface gets its images with 1 less `fade_of_gap`, so that
nothing is switched.  The surface is taken as rigid and wide between the edges.  Via the surface two edges count, to the
frequency of all chains with a mirror: they make up together for an edge that comes into sight by the mirror.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.arrays import FloatArray, IntArray, frozen
from sim.geometry.room import Room
from sim.propagation.edges.bare import TOUCH_M
from sim.propagation.edges.convex import ConvexBody

ROOM = 0
"""Owner of the room's own facets."""
LEVEL = 1.0e-6
"""Most that the cosine between a face and the surface it stands on is short of 1."""
UPRIGHT = 1.0e-3
"""Most cosine between a side at the foot and the surface's normal; with leaning sides the two are not convex."""


@dataclass(frozen=True, slots=True)
class Foot:
    """A facet that a body stands on, by its number, and how close: 1 touching, 0 so far off that it stands alone."""

    facet: int
    closeness: float


@dataclass(frozen=True, slots=True, eq=False)
class Merged:
    """A body with its images in what it stands on.

    Attributes
    ----------
    body
        Edges of the body itself, and after them those of each image; faces alike.
    feet
        What it stands on.
    image_of
        (e,) number of the foot of which each edge belongs to the image, -1 for the body itself.
    """

    body: ConvexBody
    feet: tuple[Foot, ...]
    image_of: IntArray

    def spread(self, weights: FloatArray, foot: int) -> FloatArray:
        """Weights (e,) of all edges from those of the body (n,): on itself (foot -1) or on one of its images."""
        found = np.zeros(len(self.image_of))
        found[self.image_of == foot] = weights * (1.0 if foot < 0 else self.feet[foot].closeness)
        return found


def feet_of(
    room: Room, number: int, body: ConvexBody, smallest_m2: float, open_m: float, *, on_room: bool
) -> list[tuple[int, float]]:
    """Facets on which a whole face of the body of an owner stands, its sides upright, and the gap to each in metres.

    Facets are of others, of the room's own only with `on_room`, of at least `smallest_m2`, and nearer than `open_m`.
    """
    found = []
    for f, facet in enumerate(room.facets):
        if facet.area_m2 < smallest_m2 or room.arrays.owner[f] == number:
            continue
        if room.arrays.owner[f] == ROOM and not on_room:
            continue
        low = np.flatnonzero(body.normals @ facet.normal < -1.0 + LEVEL)
        if len(low) == 0:
            continue
        corners = body.faces[low[0]]
        heights = corners @ facet.normal - facet.offset_m
        if not -TOUCH_M < heights.min() <= heights.max() < open_m:
            continue
        beside = body.faces_of_edge[(body.faces_of_edge == low[0]).any(axis=1)]
        sides = body.normals[np.unique(beside[beside != low[0]])]
        over = corners - heights[:, None] * facet.normal
        if np.abs(sides @ facet.normal).max() < UPRIGHT and all(facet.covers(place, TOUCH_M) for place in over):
            found.append((f, float(heights.max())))
    # the largest alone: images in floor and walls at once would take five times as long in a control room
    return sorted(found, key=lambda one: -room.facets[one[0]].area_m2)[:1]


def alone(body: ConvexBody) -> Merged:
    """A body that stands on nothing."""
    return Merged(body, (), np.full(len(body.wedges[4]), -1))


def merged(room: Room, body: ConvexBody, feet: tuple[Foot, ...]) -> Merged:
    """The body and its images; legs run in each, and along each side from one to the other."""
    faces, normals, offsets = list(body.faces), [body.normals], [body.offsets]
    wedges, pairs, legs = [body.wedges], [body.faces_of_edge], [body.edge_legs]
    edges, sides = len(body.wedges[4]), len(body.faces)
    for n, foot in enumerate(feet, start=1):
        normal, offset = room.arrays.normal[foot.facet], float(room.arrays.offset[foot.facet])
        turn = np.eye(3) - 2.0 * np.outer(normal, normal)
        start, along, face, up, length, air = body.wedges
        wedges.append((start @ turn + 2.0 * offset * normal, along @ turn, face @ turn, up @ turn, length, air))
        faces += [frozen((ring @ turn + 2.0 * offset * normal)[::-1].copy()) for ring in body.faces]
        normals.append(body.normals @ turn)
        offsets.append(body.offsets + 2.0 * offset * (normals[-1] @ normal))
        pairs.append(body.faces_of_edge + n * sides)
        shift = np.array([n * edges, n * edges, 0, 0])
        upright = np.abs(body.normals @ normal) < UPRIGHT
        i, _, a, _ = body.edge_legs.T
        across = body.edge_legs[upright[body.faces_of_edge[i, a]]]  # along a side, by the surface, to another edge
        level = np.abs(along @ normal) < 1.0 - UPRIGHT  # and back to the same one, but for those that go on in theirs
        level &= ~(body.normals @ normal < -1.0 + LEVEL)[body.faces_of_edge].any(axis=1)  # nor those at the foot
        back = [(e, e, a, a) for e in np.flatnonzero(level) for a in range(2) if upright[body.faces_of_edge[e, a]]]
        across = np.concatenate([across, np.array(back, dtype=np.int64).reshape(-1, 4)])
        legs += [body.edge_legs + shift, across + shift * [1, 0, 0, 0], across + shift * [0, 1, 0, 0]]
    parts = [np.ascontiguousarray(np.concatenate(part)) for part in zip(*wedges, strict=True)]
    whole = ConvexBody(
        tuple(faces),
        frozen(np.concatenate(normals)),
        frozen(np.concatenate(offsets)),
        tuple(parts),
        frozen(np.concatenate(pairs)),
        np.concatenate(legs),
    )
    return Merged(whole, feet, frozen(np.repeat(np.arange(-1, len(feet)), edges)))
