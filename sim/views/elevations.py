"""Flat drawings of flat surfaces: which way is right, which way is up, and what the axes are called.

Walls are drawn as one sees them standing in the room and facing them, so the front wall is at the right end of
the left wall.  Level surfaces are drawn as in a plan: front wall at the top, left wall at the left; a ceiling is
drawn the same way, as one sees it in a mirror on the floor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from ..geometry.facets import Facet, united_polygon
from ..geometry.room import Room

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
