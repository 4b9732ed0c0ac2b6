"""Shapes of room and furniture as they appear from one side: projected outlines for plan and side view."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from ..arrays import FloatArray
from ..geometry.room import Room
from .elevations import facet_rings

ACROSS, DEPTH, UP = 1, 0, 2
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


PLAN = Side(ACROSS, DEPTH, UP)
"""From above; the drawing turns its second axis so that the front wall is at the top."""
SIDE_VIEW = Side(DEPTH, UP, ACROSS)
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
