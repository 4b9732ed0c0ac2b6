"""Flat views of surfaces and of what stands before them: which way is right and up, and outlines.

Walls are drawn as one sees them standing in the room and facing them, so the front wall is at the right end of
the left wall.  Level surfaces are drawn as in a plan: front wall at the top, left wall at the left; a ceiling is
drawn the same way, as one sees it in a mirror on the floor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from sim.arrays import FloatArray
from sim.geometry.facets import Facet
from sim.geometry.room import Room
from sim.geometry.unions import united_polygon

LEVEL_COSINE = 0.9
"""Surfaces within 26 degrees of level (a tilted console too) are drawn as a plan."""
ALIGNED_COSINE = 0.9999


@dataclass(frozen=True, slots=True)
class Ruler:
    """One axis of a drawing: value = direction . point - zero_m; drawn from right to left or top down if turned."""

    words: str
    direction: FloatArray
    zero_m: float
    turned: bool

    def read(self, points: FloatArray) -> FloatArray:
        """Values (n,) in metres of points (n, 3)."""
        return np.asarray(points @ self.direction - self.zero_m, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Elevation:
    """A way to draw one plane: two rulers and the words that tell the viewer where he stands."""

    across: Ruler
    upward: Ruler
    words: str

    def flatten(self, points: FloatArray) -> FloatArray:
        """Drawing coordinates (n, 2) in metres of points (n, 3) in the room."""
        return np.column_stack([self.across.read(points), self.upward.read(points)])


FROM_FRONT = ("from the front wall", np.array([1.0, 0.0, 0.0]))
FROM_LEFT = ("from the left wall", np.array([0.0, 1.0, 0.0]))
UP = ("up from the floor", np.array([0.0, 0.0, 1.0]))


def elevation_of(facet: Facet, corners: FloatArray) -> Elevation:
    """Choose the drawing for a facet; corners (n, 3) bound everything that is drawn with it."""
    if abs(facet.normal[2]) > LEVEL_COSINE:
        words = "seen from above" if facet.normal[2] > 0 else "seen in a mirror on the floor"
        return Elevation(
            Ruler(*FROM_LEFT, 0.0, turned=False),
            Ruler(*FROM_FRONT, 0.0, turned=True),
            f"{words}: front wall at the top, left wall at the left",
        )
    rightward, rising = facet.frame[1], facet.frame[2]
    for name, direction in (FROM_FRONT, FROM_LEFT):
        along = float(rightward @ direction)
        if abs(along) > ALIGNED_COSINE:
            across = Ruler(name, direction, 0.0, turned=along < 0)
            break
    else:
        across = Ruler("from its left end", rightward, float((corners @ rightward).min()), turned=False)
    if rising[2] > ALIGNED_COSINE:
        upward = Ruler(*UP, 0.0, turned=False)
    else:
        upward = Ruler("up the slope from its lower edge", rising, float((corners @ rising).min()), turned=False)
    return Elevation(across, upward, f"seen from inside the room, facing it: {_ends(rightward)}")


def _ends(rightward: FloatArray) -> str:
    """What lies at the right end of a wall drawn so that `rightward` (3,) runs to the right."""
    depth, across = float(rightward[0]), float(rightward[1])
    if abs(depth) >= abs(across):
        return "front wall to the right" if depth < 0 else "front wall to the left"
    return "left wall to the left" if across > 0 else "left wall to the right"


def facet_rings(room: Room, number: int) -> list[FloatArray]:
    """Return the rings of a facet, each (n, 3) in the room: outlines and holes."""
    facet = room.facets[number]
    polygon = united_polygon(facet.to_plane(room.triangles[room.facet_of_triangle == number]))
    rings = []
    for part in getattr(polygon, "geoms", [polygon]):
        for loop in (part.exterior, *part.interiors):
            rings.append(facet.from_plane(np.asarray(loop.coords)[:, :2]))
    return rings


@dataclass(frozen=True, slots=True)
class FlatSurface:
    """Facets of one body that continue each other in one plane, such as a wall with its window and door.

    name is that of the largest; facets are numbers in the room.
    """

    name: str
    owner: str
    facets: tuple[int, ...]
    others: tuple[str, ...] = ()

    @property
    def whole_name(self) -> str:
        """The name with what it continues in: "left wall, with window"."""
        return f"{self.name}, with {' and '.join(self.others)}" if self.others else self.name


def flat_surfaces(room: Room) -> tuple[FlatSurface, ...]:
    """Group the facets of a room into surfaces that are drawn together, in the room's order."""
    groups: dict[tuple[int, str], list[int]] = {}
    for number, facet in enumerate(room.facets):
        groups.setdefault((facet.plane, facet.owner), []).append(number)
    surfaces = []
    for (_, owner), members in groups.items():
        largest = max(members, key=lambda number: room.facets[number].area_m2)
        name = room.facets[largest].name
        others = dict.fromkeys(room.facets[number].name for number in members)
        surfaces.append(FlatSurface(name, owner, tuple(members), tuple(other for other in others if other != name)))
    return tuple(surfaces)


# Shapes of room and furniture as they appear from one side: projected outlines for plan and side view.

ACROSS, DEPTH, HEIGHT = 1, 0, 2
EDGE_ON = 0.02
"""A facet whose normal has less than this along the line of sight is seen as a line."""


@dataclass(frozen=True, slots=True)
class Side:
    """A direction to look in: which coordinate runs across the drawing, which one up, which one is lost."""

    across: int
    upward: int
    sight: int

    def flatten(self, points: FloatArray) -> FloatArray:
        """Drawing coordinates (n, 2) in metres of points (n, 3)."""
        return np.asarray(points)[..., [self.across, self.upward]]


PLAN = Side(ACROSS, DEPTH, HEIGHT)
"""From above; the drawing turns its second axis so that the front wall is at the top."""
SIDE_VIEW = Side(DEPTH, HEIGHT, ACROSS)
"""From the left side toward the right wall: front wall at the left."""


def silhouette(room: Room, owner: str, side: Side) -> Any:
    """Union of everything a body covers when seen from one side (shapely geometry, metres)."""
    number = room.owner_number(owner)
    triangles = room.triangles[room.owner_of_triangle == number]
    return flat_union(triangles, side)


def flat_union(triangles: FloatArray, side: Side) -> Any:
    """Union of triangles (n, 3, 3) seen from one side; those seen edge on add nothing."""
    flat = side.flatten(triangles)
    first, second = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    area = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])
    return shapely.union_all(shapely.polygons(flat[area > 1e-9]), grid_size=1e-6)


def rings_of(shape: Any) -> list[FloatArray]:
    """Rings (n, 2) of a shapely polygon or several, holes included."""
    rings = []
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type == "Polygon":
            rings += [np.asarray(loop.coords)[:, :2] for loop in (part.exterior, *part.interiors)]
    return rings


def inner_lines(room: Room, side: Side) -> list[FloatArray]:
    """Borders of the room's own slanted facets as seen from one side: ridges, dormers, slopes; each (n, 2)."""
    lines = []
    for number, facet in enumerate(room.facets):
        along = abs(float(facet.normal[side.sight]))
        if room.arrays.owner[number] == 0 and EDGE_ON < along < 1.0 - EDGE_ON:
            lines += [side.flatten(ring) for ring in facet_rings(room, number)]
    return lines


def facet_spans(room: Room, name: str, side: Side) -> list[FloatArray]:
    """Where the facets of one name appear: a line (2, 2) when seen edge on, else rings (n, 2)."""
    shapes = []
    for number in room.facet_numbers(name):
        facet = room.facets[number]
        rings = [side.flatten(ring) for ring in facet_rings(room, number)]
        if abs(float(facet.normal[side.sight])) < EDGE_ON:
            flat = np.concatenate(rings)
            along = np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)[2][0]
            order = np.argsort(flat @ along)
            shapes.append(flat[order[[0, -1]]])
        else:
            shapes += rings
    return shapes


def bodies(room: Room, besides: frozenset[str]) -> tuple[str, ...]:
    """Names of the furniture: every body but the room and those left out."""
    return tuple(owner for owner in room.owners[1:] if owner not in besides)


def middle_of(points: FloatArray) -> FloatArray:
    """Middle (d,) of the bounds of points (n, d)."""
    return np.asarray(0.5 * (points.min(axis=0) + points.max(axis=0)), dtype=np.float64)
