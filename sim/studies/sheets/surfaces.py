"""Surfaces of the room laid flat on paper, and what each end meets: the line a tape starts from."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from sim.arrays import FloatArray
from sim.geometry.facets import Facet
from sim.geometry.room import Room
from sim.geometry.unions import united_polygon

SAME_LINE_M = 2.0e-3
AT_THE_OUTSIDE_M = 0.01


@dataclass(frozen=True, slots=True)
class Ends:
    """Names of what a surface meets at its left, right, lower and upper end on the paper.

    "front wall" is a neighbour; a free edge is "its left edge".  corner names the vertical line where two walls meet,
    such as "front left corner" (left and right as seen from the seat), else it says what is met there.
    """

    left: str
    right: str
    lower: str
    upper: str
    left_corner: str
    right_corner: str


def ends_of(room: Room, facet: Facet, directions: tuple[FloatArray, FloatArray], reach_m: FloatArray) -> Ends:
    """Name the ends of a piece of the plane of `facet`.

    directions are the unit vectors to the right and up on the paper; reach_m (2, 2) says from where (first row) to
    where (second row) the piece reaches along them, as `point @ direction`.
    """
    reported = []
    for column, direction in enumerate(directions):
        for row in (0, 1):
            found = _neighbour(room, facet, direction, float(reach_m[row, column]), directions, reach_m)
            reported.append(found)
    of_room = facet.owner == room.owners[0]
    free = [*_edge_words(directions[0], of_room), *_edge_words(directions[1], of_room)]
    left, right, lower, upper = (found or f"its {word} edge" for found, word in zip(reported, free, strict=True))
    corners = [
        _corner(room, facet, directions[0], float(reach_m[row, 0]), found) for row, found in enumerate(reported[:2])
    ]
    return Ends(left, right, lower, upper, corners[0] or left, corners[1] or right)


def _edge_words(direction: FloatArray, of_room: bool) -> tuple[str, str]:
    """Words for the edges at which a direction (3,) starts and ends; left and right are those of the seat."""
    depth, across, up = (float(value) for value in direction)
    if up > abs(depth) and up > abs(across):
        return ("lower", "upper")
    pair = ("left", "right") if abs(across) >= abs(depth) else (("front", "rear") if of_room else ("far", "near"))
    return pair if (across if abs(across) >= abs(depth) else depth) > 0.0 else (pair[1], pair[0])


def _neighbour(
    room: Room,
    facet: Facet,
    direction: FloatArray,
    along_m: float,
    directions: tuple[FloatArray, FloatArray],
    reach_m: FloatArray,
) -> str:
    """Name of the surface that meets this one along most of the line at `along_m`; empty when it ends free."""
    if facet.owner != room.owners[0]:
        return ""
    own = [n for n, other in enumerate(room.facets) if other.plane == facet.plane and other.owner == facet.owner]
    lengths: dict[str, float] = {}
    for ends, pair in zip(room.edges.ends, room.edges.facets, strict=True):
        if np.isin(pair, own).sum() != 1 or pair.min() < 0:
            continue
        if np.abs(ends @ direction - along_m).max() > SAME_LINE_M:
            continue
        middle = ends.mean(axis=0)
        if any(
            not low - SAME_LINE_M <= middle @ way <= high + SAME_LINE_M
            for way, (low, high) in zip(directions, reach_m.T, strict=True)
        ):
            continue
        other = room.facets[int(pair[0]) if int(pair[1]) in own else int(pair[1])]
        lengths[other.name] = lengths.get(other.name, 0.0) + float(np.linalg.norm(ends[1] - ends[0]))
    return max(lengths, key=lambda name: lengths[name], default="")


def _corner(room: Room, facet: Facet, right: FloatArray, along_m: float, neighbour: str) -> str:
    """Name the "front left corner" where two walls meet at the outside of the room; else say which surface is met."""
    if not neighbour:
        return ""
    shell = room.triangles[room.owner_of_triangle == 0].reshape(-1, 3)
    low, high = shell.min(axis=0)[:2], shell.max(axis=0)[:2]
    foot = facet.normal * facet.offset_m
    place = (foot + (along_m - foot @ right) * right)[:2]
    outside = np.minimum(np.abs(place - low), np.abs(place - high)).max() <= AT_THE_OUTSIDE_M
    if abs(facet.normal[2]) > 0.02 or not outside:
        return f"corner with {neighbour}"
    depth, across = np.abs(place - high) < np.abs(place - low)
    return f"{'rear' if depth else 'front'} {'right' if across else 'left'} corner"


# Surfaces of the room laid flat on paper: which way is right, which way is up, and what each end meets.
#
# Walls and slopes are drawn as one sees them standing in the room and facing them, so the front wall is at the right
# end of the left wall.  A slope is unrolled: up the paper is up the slope, at its true length.  Level ceilings are
# drawn together as one sees them in a mirror on the floor: front wall at the top, left wall at the left, as in a plan.

LEVEL_COSINE = float(np.cos(np.radians(5.0)))
UPRIGHT_SINE = float(np.sin(np.radians(1.0)))
SMALLEST_M2 = 0.02
"""Surfaces smaller than this, such as the rim of a hatch, get no drawing."""


@dataclass(frozen=True, slots=True)
class View:
    """A way to lay the room on paper: unit vectors (3,) to the right and up, and where zero is (2,)."""

    right: FloatArray
    upward: FloatArray
    zero_m: FloatArray

    def flatten(self, points: FloatArray) -> FloatArray:
        """Drawing coordinates (..., 2) in metres of points (..., 3) in the room."""
        return np.asarray(points @ np.stack([self.right, self.upward]).T - self.zero_m, dtype=np.float64)

    @property
    def toward(self) -> FloatArray:
        """(3,) unit vector toward whoever looks at the drawing; the reflected ceiling plan has it upside down."""
        return np.asarray(np.cross(self.right, self.upward), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Piece:
    """A connected piece of surface, continued over the openings in it.

    rings are its outline and holes (n, 2) on the paper; low and high (2,) bound it; ends says what each side meets.
    """

    plane: int
    facet: int
    rings: tuple[FloatArray, ...]
    low: FloatArray
    high: FloatArray
    ends: Ends


@dataclass(frozen=True, slots=True)
class Surface:
    """One or more pieces of the room that are drawn together."""

    name: str
    kind: Literal["wall", "slope", "ceiling", "floor"]
    view: View
    pieces: tuple[Piece, ...]
    normal: FloatArray
    lowest_m: float

    @property
    def lies(self) -> bool:
        """Whether it is drawn as a plan."""
        return self.kind in ("ceiling", "floor")

    @property
    def low(self) -> FloatArray:
        """(2,) lower left corner."""
        return np.asarray(np.min([piece.low for piece in self.pieces], axis=0), dtype=np.float64)

    @property
    def high(self) -> FloatArray:
        """(2,) upper right corner."""
        return np.asarray(np.max([piece.high for piece in self.pieces], axis=0), dtype=np.float64)

    def piece_at(self, plane: int, place: FloatArray) -> Piece | None:
        """The piece in a plane that is nearest to a place (2,) on the paper."""
        import shapely

        mine = [piece for piece in self.pieces if piece.plane == plane]
        spot = shapely.Point(place)
        return min(mine, key=lambda piece: shapely.Polygon(piece.rings[0]).distance(spot), default=None)


def surfaces_of(room: Room, hung: Collection[int] = ()) -> tuple[Surface, ...]:
    """All walls in the order front, left, right, rear, then slopes, then the level ceilings as one.

    Floors and surfaces of furniture come only if they are among `hung`, the numbers of planes that panels hang in.
    """
    planes: dict[tuple[int, str], list[int]] = {}
    for number, facet in enumerate(room.facets):
        of_room = facet.owner == room.owners[0] and facet.normal[2] < LEVEL_COSINE
        if of_room or facet.plane in hung:
            planes.setdefault((facet.plane, facet.owner), []).append(number)
    groups = list(planes.values())
    lying = [members for members in groups if abs(room.facets[members[0]].normal[2]) > LEVEL_COSINE]
    upright = [
        _standing(room, members) for members in groups if members not in lying and _area(room, members) > SMALLEST_M2
    ]
    upright.sort(key=lambda surface: (surface.kind != "wall", _turn(surface.normal)))
    level = [members for members in lying if room.facets[members[0]].normal[2] < 0.0]
    floors = [_lying(room, [members], "floor") for members in lying if members not in level]
    return (*upright, *([_lying(room, level, "ceiling")] if level else []), *floors)


def plan_view(room: Room) -> View:
    """From above, front wall at the top; zero is the rear left corner of the room."""
    low, high = bounds_of(room)
    right, upward = np.array([0.0, 1.0, 0.0]), np.array([-1.0, 0.0, 0.0])
    return View(right, upward, np.array([low[1], -high[0]]))


def bounds_of(room: Room) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest depth, across and up (3,) of the room itself."""
    shell = room.triangles[room.owner_of_triangle == 0].reshape(-1, 3)
    return shell.min(axis=0), shell.max(axis=0)


def _standing(room: Room, members: list[int]) -> Surface:
    largest = max(members, key=lambda number: room.facets[number].area_m2)
    facet = room.facets[largest]
    rising = np.array([0.0, 0.0, 1.0]) - facet.normal[2] * facet.normal
    upward = rising / np.linalg.norm(rising)
    right = np.cross(upward, facet.normal)
    points = np.concatenate([room.facets[number].corners for number in members])
    view = View(right, upward, np.array([(points @ right).min(), (points @ upward).min()]))
    kind: Literal["wall", "slope"] = "wall" if abs(facet.normal[2]) < UPRIGHT_SINE else "slope"
    return Surface(facet.name, kind, view, _pieces(room, members, view), facet.normal, float(points[:, 2].min()))


def _lying(room: Room, groups: list[list[int]], kind: Literal["ceiling", "floor"]) -> Surface:
    view = plan_view(room)
    pieces = [piece for members in groups for piece in _pieces(room, members, view)]
    largest = max((number for members in groups for number in members), key=lambda n: room.facets[n].area_m2)
    facet = room.facets[largest]
    return Surface(facet.name, kind, view, tuple(pieces), facet.normal, 0.0)


def _pieces(room: Room, members: list[int], view: View) -> tuple[Piece, ...]:
    facet = room.facets[max(members, key=lambda number: room.facets[number].area_m2)]
    triangles = room.triangles[np.isin(room.facet_of_triangle, members)]
    united: Any = united_polygon(facet.to_plane(triangles))
    made = []
    for part in getattr(united, "geoms", [united]):
        if part.geom_type != "Polygon" or part.area < SMALLEST_M2:
            continue
        loops = [np.asarray(loop.coords)[:-1, :2] for loop in (part.exterior, *part.interiors)]
        rings = tuple(view.flatten(_straightened(facet, loop)) for loop in loops)
        low, high = rings[0].min(axis=0), rings[0].max(axis=0)
        ends = ends_of(room, facet, (view.right, view.upward), np.stack([low, high]) + view.zero_m)
        made.append(Piece(facet.plane, members[0], rings, low, high, ends))
    return tuple(made)


def _straightened(facet: Facet, ring: FloatArray) -> FloatArray:
    """Corners (n, 3) in the room without those at which a side goes straight on."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    size = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
    return facet.from_plane(ring[np.abs(turn) > 1e-3 * size])


def _area(room: Room, members: list[int]) -> float:
    return sum(room.facets[number].area_m2 for number in members)


def _turn(normal: FloatArray) -> float:
    """Front wall first, then left, right and rear: by how far a surface faces away from the rear."""
    ahead, aside = float(normal[0]), float(normal[1])
    return round(float(-2.0 * ahead) + (-0.1 if aside > 0.5 else 0.0), 6)
