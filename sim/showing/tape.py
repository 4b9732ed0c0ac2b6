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
- Two straight distances from the nearest named corners of the surface are a check.  The outermost corner in each
  quarter of a surface has a name: at the outer corners of the room "front left floor" or "rear right ceiling", else
  "upper rear corner of left slope".  Furniture has a far side (toward the front wall) and a near one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.arrays import FloatArray
from sim.geometry.facets import Facet
from sim.geometry.room import Room
from sim.geometry.unions import united_polygon

LEVEL = float(np.cos(np.radians(5.0)))
UPRIGHT_SINE = float(np.sin(np.radians(1.0)))
SAME_LINE_M = 2.0e-3
AT_THE_OUTSIDE_M = 0.01
ROOM_WORDS = (("front", "rear"), ("left", "right"), ("floor", "ceiling"))
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
    names = _corner_names(room, facet, corners, (first, second))
    nearest = sorted(((name, float(np.linalg.norm(point - corner))) for name, corner in names), key=lambda n: n[1])
    sloping = abs(float(facet.normal[2])) > UPRIGHT_SINE
    way = ("up the slope " if sloping else "up ") if upright else ""
    return TapeReading(
        surface=facet.name,
        first_m=first_m,
        first_from=f"{way}from {first_line}",
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
    word, _ = _words(direction, of_room)
    return f"its {word} edge" if len(outermost) > 1 else f"its {word} corner"


def _words(direction: FloatArray, of_room: bool) -> tuple[str, str]:
    """Words for the two ends of a direction in a surface: where it starts and where it ends."""
    if direction[2] > np.sin(np.radians(5.0)):
        return ("lower", "upper")
    if abs(direction[1]) >= abs(direction[0]):
        return ("left", "right")
    return ("front", "rear") if of_room else ("far", "near")


def _corner_names(
    room: Room, facet: Facet, corners: FloatArray, directions: tuple[FloatArray, FloatArray]
) -> list[tuple[str, FloatArray]]:
    """Name corners by the half of the surface they lie in; of several in one quarter the outermost has the name."""
    of_room = facet.owner == room.owners[0]
    along = np.stack([corners @ direction for direction in directions], axis=1)
    aside = along - 0.5 * (along.min(axis=0) + along.max(axis=0))
    quarters = [tuple(int(side) for side in sides) for sides in aside > 0.0]
    outermost: dict[tuple[int, ...], int] = {}
    for number in np.argsort(-np.abs(aside).sum(axis=1), kind="stable").tolist():
        outermost.setdefault(quarters[number], number)
    shell = room.triangles[room.owner_of_triangle == 0].reshape(-1, 3)
    low, high = shell.min(axis=0), shell.max(axis=0)
    whole = _whole_name(room, facet)
    named = []
    for quarter, number in outermost.items():
        corner = corners[number]
        if of_room and np.minimum(np.abs(corner - low), np.abs(corner - high)).max() <= AT_THE_OUTSIDE_M:
            depth, across, up = (np.abs(corner - high) < np.abs(corner - low)).astype(int)
            name = f"{ROOM_WORDS[0][depth]} {ROOM_WORDS[1][across]} {ROOM_WORDS[2][up]}"
        else:
            reported = [_words(d, of_room)[side] for d, side in zip(directions, quarter, strict=True)]
            name = f"{' '.join(reported)} corner of {whole}"
        named.append((name, corner))
    return named


def _whole_name(room: Room, facet: Facet) -> str:
    """Name of the largest of the facets that continue each other: the wall, not the window in it."""
    same = [other for other in room.facets if other.plane == facet.plane and other.owner == facet.owner]
    return max(same, key=lambda other: other.area_m2).name


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.linalg.norm(vector), dtype=np.float64)
