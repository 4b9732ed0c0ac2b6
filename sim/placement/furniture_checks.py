"""Furniture against the room and other furniture: what cannot be is refused, what may be meant is said.

Pieces known as convex solids are held to each other exactly; a mesh only to the room, by its corners.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.furniture import Furniture
from sim.blueprint.spoken import small_words
from sim.errors import SceneError
from sim.geometry.room import Room
from sim.geometry.shapes import furniture_solids
from sim.placement.solids import drawn_in, fraction_within, is_enclosed, segments_through, shared_depth_m

INTO_WALL_M = 0.05
"""A piece may be told so far into a wall, as beams and built-in cupboards often are (our choice)."""
WORTH_SAYING_M = 0.005
"""Two pieces that share less are taken to touch (tapes read to a few millimetres)."""
SAME_PLACE = 0.9
"""Share of a piece inside others from which two things are said to be in one place."""
_NAMED = {True: "the corner of the room", False: "a wall, the floor or the ceiling"}


@dataclass(frozen=True, slots=True)
class Solids:
    """The convex solids (8, 3) of one piece of furniture."""

    name: str
    parts: tuple[FloatArray, ...]


def solids_of(furniture: Sequence[Furniture]) -> tuple[Solids, ...]:
    """Solids of all pieces; those of a mesh are none."""
    return tuple(Solids(item.name, furniture_solids(item)) for item in furniture)


def judge_furniture(room: Room, enclosure: FloatArray, pieces: Sequence[Solids], unit: str = "m") -> list[str]:
    """Raise SceneError for furniture that cannot be where it is; return sentences on what may be meant.

    enclosure: triangles (t, 3, 3) of the room itself.
    """
    notes = []
    for piece in pieces:
        notes += _against_the_room(room, enclosure, piece)
    for number, piece in enumerate(pieces):
        for other in pieces[number + 1 :]:
            notes += _against_each_other(piece, other, unit)
    return notes


def _against_the_room(room: Room, enclosure: FloatArray, piece: Solids) -> list[str]:
    where = f'furniture "{piece.name}"'
    bodies = piece.parts or (_corners_of(room, piece.name),)
    corners = np.concatenate(bodies)
    within = is_enclosed(_toward_middle(bodies, WORTH_SAYING_M), enclosure)
    if not within.any():
        middle = enclosure.reshape(-1, 3).mean(axis=0)
        if (corners.min(axis=0) < middle).all() and (corners.max(axis=0) > middle).all():
            raise SceneError(where, "it goes round the whole room", "check its numbers and their units")
        raise SceneError(where, f"it is outside the room, {_span(corners)}", "give distances inside the room")
    deep = is_enclosed(_toward_middle(bodies, INTO_WALL_M), enclosure)
    cut = any(segments_through(drawn_in(part, INTO_WALL_M), _corner_lines(room)).any() for part in piece.parts)
    if not deep.all() or cut:
        raise SceneError(
            where,
            f"it goes through {_NAMED[cut]}, {_span(corners)}",
            "make it smaller or move it, or check the size of the room",
        )
    if within.all():
        return []
    return [f"The {piece.name} reaches into {_NAMED[False]}; what is behind the surface counts as not there."]


def _against_each_other(one: Solids, other: Solids, unit: str) -> list[str]:
    depth = max((shared_depth_m(a, b) for a in one.parts for b in other.parts), default=0.0)
    if depth <= WORTH_SAYING_M:
        return []
    for inner, outer in ((one, other), (other, one)):
        if min(fraction_within(part, outer.parts) for part in inner.parts) >= SAME_PLACE:
            raise SceneError(
                f'furniture "{inner.name}"',
                f'it stands in the same place as the furniture "{outer.name}"',
                "leave one of them out, or move it",
            )
    return [
        f"The {one.name} and the {other.name} reach {small_words(depth, unit)} into each other and count as one body "
        "there; measure again if that is not meant."
    ]


def _toward_middle(bodies: Sequence[FloatArray], by_m: float) -> FloatArray:
    """Corners of solids drawn in by so much; those of a mesh moved so far toward its middle."""
    points = []
    for body in bodies:
        if len(body) == 8:
            points.append(drawn_in(body, by_m))
            continue
        ways = body.mean(axis=0) - body
        far = np.linalg.norm(ways, axis=1)[:, None]
        points.append(body + ways * np.minimum(2.0 * by_m / np.maximum(far, 1e-9), 0.5))
    return np.concatenate(points)


def _corners_of(room: Room, name: str) -> FloatArray:
    """Corners (n, 3) of a piece as built, at most some hundreds of a fine mesh."""
    facets = [facet for facet in room.facets if facet.owner == name]
    corners = np.unique(np.concatenate([facet.corners for facet in facets]).round(6), axis=0)
    return np.asarray(corners[:: 1 + len(corners) // 400])


def _corner_lines(room: Room) -> FloatArray:
    """Ends (e, 2, 3) of the edges of the room itself that stick out into it."""
    out = room.edges.sticking_out
    own = room.arrays.owner[room.edges.facets[out, 0]] == 0
    return np.asarray(room.edges.ends[out[own]])


def _span(corners: FloatArray) -> str:
    low, high = corners.min(axis=0), corners.max(axis=0)
    named = zip(("from_front", "from_left", "up"), low, high, strict=True)
    return ", ".join(f"{name} {a:.2f} to {b:.2f} m" for name, a, b in named)
