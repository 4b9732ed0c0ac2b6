"""What would end a mirrored way off furniture, by the mirror formula: cut the piece, move it, or tilt it.

A mirror point ends a way when it leaves its surface; what the edges of the piece then still scatter is worked out where
the piece can be built as changed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray
from sim.blueprint.furniture import Furniture
from sim.blueprint.pieces import Hinge
from sim.geometry.facets import Facet
from sim.placement.built_scene import BuiltScene

FURTHEST_M: Final = 0.50
STEP_M: Final = 0.01
STEEPEST_DEG: Final = 20.0
STEEPEST_GIVEN_DEG: Final = 45.0
"""No scene may tell of a steeper desk."""
STEP_DEG: Final = 0.5
FINE_DEG: Final = 0.1
LARGEST_CUT: Final = 0.5
"""Share of a piece's size that may be cut away; like the other limits, common practice, no source."""
TOP: Final = 0.8
"""Cosine from which a surface of furniture counts as level."""

TOUCH_M: Final = 1e-3

Plane = tuple[FloatArray, float]


@printable
@dataclass(frozen=True, slots=True)
class Remedy:
    """One change after which no driver's reflection point lies on the surface any more.

    Attributes
    ----------
    kind
        "cut", "move" or "tilt".
    direction
        The edge that is cut, where it is moved to, or which edge of it rises.
    amount
        Metres, or degrees for a tilt (added to what the desk has), for the ear point; infinite where no move or tilt
        within the limit does.
    amount_head
        The same for every place in the head box.
    limit
        Largest amount that makes sense.
    """

    kind: str
    direction: str
    amount: float
    amount_head: float
    limit: float

    @property
    def works(self) -> bool:
        """Whether an amount within the limit does."""
        return self.amount <= self.limit


def mirror_points(source: FloatArray, ear: FloatArray, planes: Sequence[Plane]) -> FloatArray | None:
    """Reflection points (k, 3) of a way over planes (normal, offset) in turn; None where a plane cannot mirror so."""
    images = [np.asarray(source, dtype=np.float64)]
    for normal, offset in planes:
        height = float(images[-1] @ normal) - offset
        images.append(images[-1] - 2.0 * height * normal)
    points = np.empty((len(planes), 3))
    end = np.asarray(ear, dtype=np.float64)
    for k in range(len(planes) - 1, -1, -1):
        normal, offset = planes[k]
        height, below = float(end @ normal) - offset, offset - float(images[k + 1] @ normal)
        if height <= 1e-9 or below <= 1e-9:
            return None
        points[k] = end + height / (height + below) * (images[k + 1] - end)
        end = points[k]
    return points


def head_points(built: BuiltScene, place: int) -> FloatArray:
    """The ear point and the corners of the head box round it, (9, 3)."""
    half = 0.5 * built.head_box
    signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], dtype=np.float64)
    return np.vstack([built.ears[place], built.ears[place] + signs * half])


def remedies_for(
    built: BuiltScene,
    sources: FloatArray,
    place: int,
    sequence: Sequence[int],
    turn: int,
    piece: Furniture | None = None,
) -> tuple[Remedy, ...]:
    """Least cut of its depth and of its sides, least move and least tilt of the surface at `turn` of a way over facets.

    sources (d, 3) are all drivers; piece: the furniture whose surface it is.  Of each kind the direction that needs
    least; kinds that do not fit are left out.  Only the top of a desk is tilted, as its scene would tilt it: about its
    listener-side edge, which stays, with the far edge rising straight up.
    """
    from sim.rays.shape_kernels import inside_polygon

    room, facet = built.room, built.room.facets[sequence[turn]]
    heads = head_points(built, place)

    def spots(ears: FloatArray, plane: Plane) -> list[FloatArray]:
        planes = [(room.facets[f].normal, room.facets[f].offset_m) for f in sequence]
        planes[turn] = plane
        found = (mirror_points(source, ear, planes) for source in sources for ear in ears)
        return [points[turn] for points in found if points is not None]

    def gone(ears: FloatArray, shift: FloatArray) -> bool:
        """Whether no reflection point lies on the facet shifted."""
        plane = facet.normal, float(facet.normal @ (facet.frame[0] + shift))
        return not any(inside_polygon(*facet.to_plane(spot - shift), facet.border) for spot in spots(ears, plane))

    def least(after: Callable[[FloatArray, float], bool], amounts: FloatArray) -> tuple[float, float]:
        """Smallest amount after which none is left: for the ear, and for the head box."""
        first = [next((float(a) for a in amounts if after(ears, float(a))), np.inf) for ears in (heads[:1], heads)]
        return first[0], first[1]

    cuts = []
    for words, direction in cut_directions(facet, built.ears[place]):
        along = facet.corners @ direction
        needed = []
        for ears in (heads[:1], heads):
            met = spots(ears, (facet.normal, facet.offset_m))
            inside = [p for p in met if inside_polygon(*facet.to_plane(p), facet.border)]
            needed.append(max((float(along.max() - p @ direction) for p in inside), default=0.0) + STEP_M)
        cuts.append(Remedy("cut", words, needed[0], needed[1], LARGEST_CUT * float(np.ptp(along))))
    moves = []
    for words, step in DIRECTIONS:
        limit = free_distance_m(built, facet.owner, place, step)
        amounts = np.arange(STEP_M, limit + 0.5 * STEP_M, STEP_M)
        found = least(lambda ears, a, d=step: gone(ears, a * d), amounts)  # type: ignore[misc]
        moves.append(Remedy("move", words, *found, limit))
    tilts = []
    hinge = piece.hinge() if piece is not None else None
    if hinge is not None and facet.name == hinge.surface:
        rise_at, tilt_now = hinge.rise_at, hinge.tilt_deg

        def flat(ears: FloatArray, tilt_deg: float) -> bool:
            """Whether no reflection point lies on the top tilted so; each is let down on the top as it is."""
            for spot in spots(ears, top_plane(hinge, facet, tilt_deg)):
                lowered = rise_at(spot[0], spot[1], tilt_now) - rise_at(spot[0], spot[1], tilt_deg)
                if inside_polygon(*facet.to_plane(spot + np.array([0.0, 0.0, lowered])), facet.border):
                    return False
            return True

        for words, sense in (("far edge up", 1.0), ("far edge down", -1.0)):
            limit = min(STEEPEST_DEG, STEEPEST_GIVEN_DEG - sense * tilt_now)
            amounts = np.arange(STEP_DEG, limit + 0.5 * STEP_DEG, STEP_DEG)

            def after(ears: FloatArray, a: float, g: float = sense) -> bool:
                return flat(ears, tilt_now + g * a)

            found = least(after, amounts)
            back = FINE_DEG * np.arange(round(STEP_DEG / FINE_DEG) - 1, -1, -1, dtype=np.float64)
            finer = [
                least(after, np.asarray(amount - back))[k] if np.isfinite(amount) else amount
                for k, amount in enumerate(found)
            ]
            tilts.append(Remedy("tilt", words, finer[0], finer[1], STEEPEST_DEG))
    sides = [way for way in cuts if way.direction in ("left edge", "right edge")]
    groups = ([way for way in cuts if way not in sides], sides, moves, tilts)
    return tuple(min(group, key=lambda way: (not way.works, way.amount, way.amount_head)) for group in groups if group)


def free_distance_m(built: BuiltScene, owner: str, place: int, direction: FloatArray) -> float:
    """How far a piece can go one way before it meets a body, leaves the room or comes over the ear; at most 0.5 m.

    All bodies are taken as their upright bounding boxes.
    """
    room = built.room

    def span(name: str) -> tuple[FloatArray, FloatArray]:
        points = room.triangles[room.owner_of_triangle == room.owner_number(name)].reshape(-1, 3)
        return points.min(axis=0), points.max(axis=0)

    low, high = span(owner)
    others = [span(name) for name in room.owners[1:] if name != owner]
    whole_low, whole_high = span(room.owners[0])
    ear = built.ears[place]

    def met(a: float) -> int:
        """How much a move by `a` runs into."""
        first, last = low + a * direction, high + a * direction
        shared = sum(bool(np.all(np.minimum(last, end) - np.maximum(first, begin) > TOUCH_M)) for begin, end in others)
        outside = bool(np.any(first < whole_low - TOUCH_M) or np.any(last > whole_high + TOUCH_M))
        return shared + outside + bool(np.all(first[:2] < ear[:2]) and np.all(last[:2] > ear[:2]))

    free = 0.0
    for a in np.arange(STEP_M, FURTHEST_M + 0.5 * STEP_M, STEP_M):
        if met(float(a)) > met(0.0):
            break
        free = float(a)
    return free


DIRECTIONS: Final[tuple[tuple[str, FloatArray], ...]] = (
    ("toward the front wall", np.array([-1.0, 0.0, 0.0])),
    ("toward the rear wall", np.array([1.0, 0.0, 0.0])),
    ("to the left", np.array([0.0, -1.0, 0.0])),
    ("to the right", np.array([0.0, 1.0, 0.0])),
    ("up", np.array([0.0, 0.0, 1.0])),
    ("down", np.array([0.0, 0.0, -1.0])),
)


def cut_directions(facet: Facet, ear: FloatArray) -> list[tuple[str, FloatArray]]:
    """Edges of a surface of furniture, and the direction (3,) in the surface toward each."""
    level = abs(facet.normal[2]) > TOP
    names = ("listener-side edge", "far edge") if facet.corners[:, 0].mean() < ear[0] else ("rear edge", "front edge")
    named = [(names[0], np.array([1.0, 0.0, 0.0])), (names[1], np.array([-1.0, 0.0, 0.0]))]
    named += [("left edge", np.array([0.0, -1.0, 0.0])), ("right edge", np.array([0.0, 1.0, 0.0]))]
    if not level:
        named += [("upper edge", np.array([0.0, 0.0, 1.0])), ("lower edge", np.array([0.0, 0.0, -1.0]))]
    found = []
    for words, way in named:
        flat = way - (way @ facet.normal) * facet.normal
        length = float(np.linalg.norm(flat))
        if length > 0.7:
            found.append((words, flat / length))
    return found


def top_plane(hinge: Hinge, facet: Facet, tilt_deg: float) -> Plane:
    """Plane of a top that is `facet` now, were it tilted by tilt_deg in all."""
    tilt, turn = np.radians(tilt_deg), np.radians(hinge.turn_deg)
    normal = np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])
    point = facet.frame[0].copy()
    point[2] = hinge.height_m + hinge.rise_at(float(point[0]), float(point[1]), tilt_deg)
    return normal, float(normal @ point)
