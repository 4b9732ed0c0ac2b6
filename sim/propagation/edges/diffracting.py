"""What diffracts in a built scene, and how open an edge is that stands a little off another body.

A screen that stands on a desk has no lower edge; one that hangs well above it has.  In between, sound goes to and fro
in the slot, and its first few bends, all that is summed here, are far too loud.  So such an edge is faded in with the
width of the slot, and no gap switches anything.  The fade is our own, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.geometry.bare_sides import OPEN_M, fade_of_gap, lying_over, weights_near
from sim.geometry.room import Room
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.bare import TOUCH_M, bare_stretches, free_bodies
from sim.propagation.edges.convex import ConvexBody
from sim.propagation.edges.merged import Foot, Merged, feet_of, merged
from sim.propagation.edges.panel_frames import frame_edges
from sim.propagation.edges.plates import DRIVE_SAMPLES
from sim.propagation.edges.wedges import KnownWedges, wedge_of

SAME_EDGE_M = 1.0e-4


def opennesses(room: Room, bare: dict[int, FloatArray]) -> dict[int, FloatArray]:
    """Weights (n,) of n places evenly along each bare edge that another body's surface lies nearer than `OPEN_M` to."""
    if not bare:
        return {}
    out = np.array(list(bare), dtype=np.int64)
    ends = room.edges.ends[out]
    faded, near = weights_near(room, ends, room.arrays.owner[room.edges.facets[out, 0]])
    fractions = np.linspace(0.0, 1.0, DRIVE_SAMPLES)
    found: dict[int, FloatArray] = {}
    for e in np.flatnonzero(near.any(axis=1)):
        places = ends[e, 0] + fractions[:, None] * (ends[e, 1] - ends[e, 0])
        weights = np.ones(DRIVE_SAMPLES)
        for f in np.flatnonzero(near[e]):
            over = lying_over(room.facets[f], places)
            weights[over] = np.minimum(weights[over], faded[e, f])
        if weights.min() < 1.0:
            found[int(out[e])] = frozen(weights)
    return found


def chain_weights(
    room: Room, number: int, body: ConvexBody, bare: dict[int, FloatArray], opened: dict[int, FloatArray]
) -> FloatArray:
    """Weights (e,) of the edges of a body in chains: how much of each is bare, and how open."""
    mine = [e for e in bare if room.arrays.owner[room.edges.facets[e, 0]] == number]
    weights = np.zeros(len(body.wedges[4]))
    for e in mine:
        place = place_on_body(room, e, body)
        if place >= 0:
            free = float(np.diff(bare[e], axis=1).sum())
            weights[place] = free * (float(opened[e].mean()) if e in opened else 1.0)
    return weights


def place_on_body(room: Room, edge: int, body: ConvexBody) -> int:
    """Which edge of a body an edge of the room is, -1 for none."""
    start, along, _, _, length, _ = body.wedges
    away = np.linalg.norm(start + 0.5 * length[:, None] * along - room.edges.ends[edge].mean(axis=0), axis=1)
    return int(away.argmin()) if away.min() < SAME_EDGE_M else -1


# What diffracts in a built scene.
#
# Its bare edges and how open they are, frames of panels, bodies, and what they stand on.

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
    merged
        Bodies that touch such a facet, or nearly, with their images in it.
    """

    wedges: KnownWedges
    bare: dict[int, FloatArray]
    opened: dict[int, FloatArray]
    frames: KnownWedges
    bodies: dict[int, ConvexBody]
    weights: dict[int, FloatArray]
    standing: dict[int, tuple[KnownWedges, set[int]]]
    merged: dict[int, Merged]


def diffracting(built: BuiltScene, *, on_room: bool = False) -> Diffracting:
    """Find all of it once for a built scene.

    on_room: whether what stands on the floor or hangs at the ceiling has its image too.  It matters below the
    frequencies of sound waves, which have such images anyway; with those of consoles, shelves and beams the edges of a
    control room take three times as long.
    """
    room = built.room
    bare = bare_stretches(room)
    opened, bodies = opennesses(room, bare), free_bodies(room, stretches=bare)
    wedges = KnownWedges({edge: wedge_of(room, edge) for edge in bare})
    feet = {
        number: tuple(
            Foot(facet, float(1.0 - fade_of_gap(np.array(gap))))
            for facet, gap in feet_of(room, number, body, SMALLEST_MIRROR_M2, OPEN_M, on_room=on_room)
        )
        for number, body in bodies.items()
    }
    return Diffracting(
        wedges,
        bare,
        opened,
        KnownWedges(frame_edges(built)),
        bodies,
        {number: chain_weights(room, number, body, bare, opened) for number, body in bodies.items()},
        _standing(built, wedges),
        {number: merged(room, bodies[number], some) for number, some in feet.items() if some},
    )


def _standing(built: BuiltScene, wedges: KnownWedges) -> dict[int, tuple[KnownWedges, set[int]]]:
    """Facets with a body's edge nearer than `STANDING_M` over them, these bodies' edges, and the bodies' numbers."""
    room, owner = built.room, built.room.arrays.owner
    mine = {edge: int(owner[room.edges.facets[edge, 0]]) for edge in wedges}
    found: dict[int, tuple[KnownWedges, set[int]]] = {}
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
            found[f] = KnownWedges({edge: wedge for edge, wedge in wedges.items() if mine[edge] in above}), above
    return found
