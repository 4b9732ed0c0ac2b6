"""Surfaces that panels may hang on, each laid flat: along it, and up it or across it.

Every flat piece of the room of one name is one surface; windows and doors in it count as part of it here, and are
taken away again where they must stay free (`zones`).  Floors get no panels.  Rectangles are (a0, b0, a1, b1) in metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.schema import Blueprint
from sim.geometry.facets import Facet
from sim.geometry.unions import united_polygon
from sim.placement.built_scene import BuiltScene

if TYPE_CHECKING:
    from shapely import MultiPolygon, Polygon

Kind = Literal["wall", "slope", "ceiling"]
Rectangle = tuple[float, float, float, float]

FLAT: float = float(np.cos(np.radians(5.0)))
"""Within 5 degrees of level a surface above is a ceiling; within 5 degrees of upright one is a wall."""
SQUARE: float = float(np.cos(np.radians(1.0)))
"""A slope whose level lines run over 1 degree off the walls gets no panels: spans would not tell a rectangle."""
SPAN_KEYS = ("from_front", "from_left", "up")
WRITTEN_DIGITS = 4
"""Spans are written to a tenth of a millimetre."""


@dataclass(frozen=True)
class Surface:
    """A flat surface for panels.

    Attributes
    ----------
    name, plane, kind
        Its name, the number of its plane as of facets, and what it is.
    origin, along, rising
        (3,) a point of the plane and two unit vectors: along the depth or across the room; and up, up the slope or, on
        a ceiling, across.  On walls that run with the room, coordinates are distances from the front or left wall and
        heights above the floor.
    normal
        (3,) unit vector into the room.
    region
        Polygon or polygons (shapely) in these two coordinates, openings included.
    """

    name: str
    plane: int
    kind: Kind
    origin: FloatArray
    along: FloatArray
    rising: FloatArray
    normal: FloatArray
    region: Polygon | MultiPolygon

    def to_flat(self, points: FloatArray) -> FloatArray:
        """Coordinates (..., 3) of points (..., 3): along, up, and how far off the surface."""
        axes = np.stack([self.along, self.rising, self.normal])
        return np.asarray((points - self.origin) @ axes.T, dtype=np.float64)

    def lifted(self, flat: FloatArray) -> FloatArray:
        """Points (..., 3) in the room of coordinates (..., 2) on the surface."""
        return np.asarray(self.origin + flat @ np.stack([self.along, self.rising]), dtype=np.float64)

    def corners_m(self, rectangle: Rectangle) -> FloatArray:
        """Corners (4, 3) of a rectangle, in order."""
        a0, b0, a1, b1 = rectangle
        return self.lifted(np.array([[a0, b0], [a1, b0], [a1, b1], [a0, b1]]))

    @cached_property
    def span_keys(self) -> tuple[str, str]:
        """The two distances that place a panel on it."""
        first = SPAN_KEYS[int(np.argmax(np.abs(self.along)))]
        if self.kind == "ceiling":
            return (first, "from_left" if first == "from_front" else "from_front")
        steep = self.rising[2] > 0.3
        return (first, "up" if steep else "from_left" if first == "from_front" else "from_front")

    def spans(self, rectangle: Rectangle) -> dict[str, tuple[float, float]]:
        """A rectangle as a scene writes it."""
        corners = self.corners_m(rectangle)
        places = [SPAN_KEYS.index(key) for key in self.span_keys]
        low, high = corners.min(axis=0), corners.max(axis=0)
        return {
            SPAN_KEYS[i]: (round(float(low[i]), WRITTEN_DIGITS), round(float(high[i]), WRITTEN_DIGITS)) for i in places
        }


def treatable_surfaces(built: BuiltScene, blueprint: Blueprint) -> tuple[tuple[Surface, ...], tuple[str, ...]]:
    """Return the surfaces that may get panels, and sentences on those that may not.

    Floors are left out without a word.
    """
    room = built.room
    openings = {opening.name for opening in blueprint.openings}
    found: list[Surface] = []
    left_alone: list[str] = []
    seen: set[tuple[str, int]] = set()
    for facet in room.facets:
        key = (facet.name, facet.plane)
        if facet.owner != "room" or facet.normal[2] > 0.1 or key in seen or facet.name in openings:
            continue
        seen.add(key)
        if facet.name in blueprint.treatment.leave_bare:
            left_alone.append(f"The {facet.name} is left bare, as the scene asks.")
            continue
        laid = _axes(facet)
        if laid is None:
            left_alone.append(f"The {facet.name} runs askew to the walls; no panels are placed on it.")
            continue
        kind, along, rising = laid
        names = {facet.name, *openings}
        members = [n for n, other in enumerate(room.facets) if other.plane == facet.plane and other.name in names]
        triangles = room.triangles[np.isin(room.facet_of_triangle, members)]
        own = room.triangles[np.isin(room.facet_of_triangle, [n for n in members if room.facets[n].name == facet.name])]
        origin = _origin(facet, kind, along, rising, own)
        axes = np.stack([along, rising])
        shape: Any = united_polygon((triangles - origin) @ axes.T)
        found.append(Surface(facet.name, facet.plane, kind, origin, along, rising, facet.normal, shape))
    return tuple(found), tuple(left_alone)


def _axes(facet: Facet) -> tuple[Kind, FloatArray, FloatArray] | None:
    normal = facet.normal
    if abs(normal[2]) > FLAT:
        along = np.array([1.0, 0.0, 0.0])
        along = along - (along @ normal) * normal
        along = along / np.linalg.norm(along)
        rising = np.cross(normal, along)
        return "ceiling", along, rising * np.sign(rising[1])
    rising = np.array([0.0, 0.0, 1.0]) - normal[2] * normal
    rising = rising / np.linalg.norm(rising)
    along = np.cross(rising, normal)
    lead = int(np.argmax(np.abs(along)))
    along = along * np.sign(along[lead])
    upright = abs(normal[2]) < np.sqrt(1.0 - FLAT**2)
    if not upright and abs(along[lead]) < SQUARE:
        return None
    return "wall" if upright else "slope", along, rising


def _origin(facet: Facet, kind: Kind, along: FloatArray, rising: FloatArray, own: FloatArray) -> FloatArray:
    """A point of the plane from which coordinates are distances a tape would show.

    Along: from the front or left wall's plane.  Up a wall: from the floor; on a ceiling from the left wall; up a
    slope from its lowest line.
    """
    points = own.reshape(-1, 3)
    lead = int(np.argmax(np.abs(along)))
    start = points[0]
    square = abs(along[lead]) >= SQUARE
    back = start[lead] / along[lead] if square else float((start - points[np.argmin(points @ along)]) @ along)
    start = start - back * along
    if kind == "wall":
        return np.asarray(start - start[2] / rising[2] * rising)
    if kind == "ceiling":
        return np.asarray(start - start[1] / rising[1] * rising)
    return np.asarray(start - float((start - points[np.argmin(points @ rising)]) @ rising) * rising)
