"""Where a point on a surface is, as a person with a tape would find it.

Rules, so that two people mark the same spot:

- Distances run along the surface, square to each other, each from the outermost line of the surface on that side.
  Surfaces that continue each other (a wall and the window in it) are one surface here.
- Level surfaces (within 5 degrees): from the side toward the front wall, and from the left side.  Those of the room
  run along its depth and width; those of furniture along their own edges, also when the piece is turned.
- All others: up the surface from its lowest line, and level from the side toward the front wall (surfaces that run
  along the room) or from the left side (surfaces that run across it).
- Each distance names what is on that line: the neighbouring surface ("from the left slope"), or in furniture the
  edge ("from the far edge").
- Two straight distances from the nearest named corners of the surface are a check.  Corners where three outer
  surfaces of the room meet are called "front left floor"; others "upper rear corner of left slope".  Furniture says
  far and near for its sides away from and toward the seat, before it is turned.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..arrays import FloatArray
from ..geometry.facets import Facet, united_polygon
from ..geometry.room import Room

LEVEL = float(np.cos(np.radians(5.0)))
SAME_LINE_M = 2.0e-3
AT_THE_OUTSIDE_M = 0.01
STRAIGHT = 1.0e-3
"""A corner whose sides turn by less than this (as a sine) is no corner."""


@dataclass(frozen=True, slots=True)
class TapeReading:
    """Two distances along a surface and two straight ones, all in metres.

    first_from and second_from say from where ("up from the floor", "from the front wall"); corners are the two
    nearest named ones with their distances.
    """

    surface: str
    first_m: float
    first_from: str
    second_m: float
    second_from: str
    corners: tuple[tuple[str, float], ...]


def tape_coordinates(room: Room, facet_number: int, point: FloatArray) -> TapeReading:
    """Tape distances to a point (3,) on facet number `facet_number`."""
    facet = room.facets[facet_number]
    corners = _corners(room, facet, point)
    first, second, upright = _directions(room, facet, corners)
    readings = []
    for direction in (first, second):
        along = corners @ direction
        outermost = corners[along <= along.min() + SAME_LINE_M]
        readings.append((float(point @ direction - along.min()), _line_name(room, facet, direction, outermost)))
    (first_m, first_line), (second_m, second_line) = readings
    names = _corner_names(room, facet, corners)
    nearest = sorted(((name, float(np.linalg.norm(point - corner))) for name, corner in names), key=lambda n: n[1])
    return TapeReading(
        surface=facet.name,
        first_m=first_m,
        first_from=f"up from {first_line}" if upright else f"from {first_line}",
        second_m=second_m,
        second_from=f"from {second_line}",
        corners=tuple(nearest[:2]),
    )


def _corners(room: Room, facet: Facet, point: FloatArray) -> FloatArray:
    """Corners (c, 3) of the connected piece of surface, continued over neighbours in its plane, nearest the point."""
    import shapely

    same = (room.plane_of_triangle == facet.plane) & (room.owner_of_triangle == room.owner_number(facet.owner))
    united: Any = united_polygon(facet.to_plane(room.triangles[same]))
    place = shapely.Point(facet.to_plane(point))
    piece = min(getattr(united, "geoms", [united]), key=lambda part: part.distance(place))
    ring = np.asarray(piece.exterior.coords)[:-1, :2]
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    size = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
    return facet.from_plane(ring[np.abs(turn) > STRAIGHT * size])


def _directions(room: Room, facet: Facet, corners: FloatArray) -> tuple[FloatArray, FloatArray, bool]:
    """Return two unit vectors in the surface to measure along, and whether the first one runs up."""
    normal = facet.normal
    if abs(normal[2]) < LEVEL:
        rising = np.array([0.0, 0.0, 1.0]) - normal[2] * normal
        level = np.cross(rising, normal)
        lead = 0 if abs(level[0]) > abs(level[1]) else 1
        return _unit(rising), _unit(level) * np.sign(level[lead]), True
    depth = np.array([1.0, 0.0, 0.0])
    if facet.owner != room.owners[0]:
        sides = np.roll(corners, -1, axis=0) - corners
        longest = sides[np.argmax(np.linalg.norm(sides, axis=1))]
        square = np.cross(normal, longest)
        depth = longest if abs(longest[0]) > abs(square[0]) else square
        depth = depth * np.sign(depth[0])
    first = _unit(depth - (depth @ normal) * normal)
    second = np.cross(normal, first)
    return first, second * np.sign(second[1]), False


def _line_name(room: Room, facet: Facet, direction: FloatArray, outermost: FloatArray) -> str:
    """Words for the outermost line of a surface: the neighbour that meets it there, or which edge it is."""
    of_room = facet.owner == room.owners[0]
    if of_room:
        # Every facet of the plane may be the one that reaches this line.
        own = [i for i, f in enumerate(room.facets) if f.plane == facet.plane and f.owner == facet.owner]
        best, name = SAME_LINE_M, ""
        for ends, pair in zip(room.edges.ends, room.edges.facets, strict=True):
            if np.isin(pair, own).sum() != 1 or pair.min() < 0:
                continue
            on_line = np.abs((ends - outermost[0]) @ direction).max() <= SAME_LINE_M
            length = float(np.linalg.norm(ends[1] - ends[0]))
            if on_line and length > best:
                neighbour = int(pair[0]) if int(pair[1]) in own else int(pair[1])
                best, name = length, f"the {room.facets[neighbour].name}"
        if name:
            return name
    words = _side_words(direction, of_room)
    return f"its {words} edge" if len(outermost) > 1 else f"its {words} corner"


def _side_words(direction: FloatArray, of_room: bool) -> str:
    lead = int(np.argmax(np.abs(direction)))
    return ("front" if of_room else "far", "left", "lower")[lead]


def _corner_names(room: Room, facet: Facet, corners: FloatArray) -> list[tuple[str, FloatArray]]:
    """Name corners; of several that would share a name only the outermost keeps it."""
    of_room = facet.owner == room.owners[0]
    shell = room.triangles[room.owner_of_triangle == 0].reshape(-1, 3)
    low, high = shell.min(axis=0), shell.max(axis=0)
    own_low, own_high = corners.min(axis=0), corners.max(axis=0)
    middle = 0.5 * (own_low + own_high)
    words = (("front", "rear") if of_room else ("far", "near"), ("left", "right"), ("lower", "upper"))
    named: dict[str, FloatArray] = {}
    for corner in corners:
        outside = np.minimum(np.abs(corner - low), np.abs(corner - high)).max() <= AT_THE_OUTSIDE_M
        if of_room and outside:
            depth, across, up = (int(side) for side in np.abs(corner - high) < np.abs(corner - low))
            name = f"{words[0][depth]} {words[1][across]} {('floor', 'ceiling')[up]}"
        else:
            extent = own_high - own_low > AT_THE_OUTSIDE_M
            told = [words[a][int(corner[a] > middle[a])] for a in (2, 0, 1) if extent[a]]
            name = f"{' '.join(told)} corner of {facet.name}"
        known = named.get(name)
        if known is None or np.abs(corner - middle).sum() > np.abs(known - middle).sum():
            named[name] = corner
    return list(named.items())


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.linalg.norm(vector), dtype=np.float64)
