"""What diffracts in a built scene.

Its bare edges and how open they are, frames of panels, bodies, and what they stand on.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.arrays import FloatArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.bare import TOUCH_M, bare_stretches, free_bodies
from sim.propagation.edges.convex import ConvexBody
from sim.propagation.edges.openness import chain_weights, opennesses
from sim.propagation.edges.panel_frames import frame_edges
from sim.propagation.edges.single import Wedge, wedge_of

SMALLEST_MIRROR_M2 = 0.3
STANDING_M = 0.4
"""A mirror before and after an edge, and with chains, is looked for under and behind what is nearer to it than this."""


@dataclass(frozen=True, slots=True)
class Diffracting:
    """What diffracts in a built scene.

    Attributes
    ----------
    wedges, bare, opened
        Bare edges by number: what `wedge_of` says, stretches (m, 2), and weights (n,) of those near another surface.
    frames
        Frames of panels.
    bodies, weights
        Convex bodies by number of owner, and the weights (e,) of their edges in chains.
    standing
        Facets that a body stands on or near: the wedges of these bodies' edges, and the bodies' numbers.
    """

    wedges: dict[int, Wedge]
    bare: dict[int, FloatArray]
    opened: dict[int, FloatArray]
    frames: dict[int, Wedge]
    bodies: dict[int, ConvexBody]
    weights: dict[int, FloatArray]
    standing: dict[int, tuple[dict[int, Wedge], set[int]]]


def diffracting(built: BuiltScene) -> Diffracting:
    """Find all of it once for a built scene."""
    room = built.room
    bare = bare_stretches(room)
    opened, bodies = opennesses(room, bare), free_bodies(room)
    wedges = {edge: wedge_of(room, edge) for edge in bare}
    return Diffracting(
        wedges,
        bare,
        opened,
        frame_edges(built),
        bodies,
        {number: chain_weights(room, number, body, bare, opened) for number, body in bodies.items()},
        _standing(built, wedges),
    )


def _standing(built: BuiltScene, wedges: dict[int, Wedge]) -> dict[int, tuple[dict[int, Wedge], set[int]]]:
    """Facets with a body's edge nearer than `STANDING_M` over them, these bodies' edges, and the bodies' numbers."""
    room, owner = built.room, built.room.arrays.owner
    mine = {edge: int(owner[room.edges.facets[edge, 0]]) for edge in wedges}
    found: dict[int, tuple[dict[int, Wedge], set[int]]] = {}
    for f, facet in enumerate(room.facets):
        if facet.area_m2 < SMALLEST_MIRROR_M2:
            continue
        above = set()
        for edge, number in mine.items():
            middle = room.edges.ends[edge].mean(axis=0)
            height = float(facet.normal @ middle) - facet.offset_m
            over = middle - height * facet.normal
            if number > 0 and number != owner[f] and -TOUCH_M < height < STANDING_M and facet.covers(over, TOUCH_M):
                above.add(number)
        if above:
            found[f] = {edge: wedge for edge, wedge in wedges.items() if mine[edge] in above}, above
    return found
