"""Edges as the kernels take them: where one begins, which way it runs, its first face, its length and angle of air."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TypeAlias

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.geometry.room import Room

Wedge: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, float, float]


Wedges: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]
"""start, along, face, normal, each (p, 3), length (p,) and air angle (p,), as the kernels take them one by one."""
WHOLE = np.array([[0.0, 1.0]])


class KnownWedges(dict[int, Wedge]):
    """Wedges by their numbers, and the same in arrays, for many calls."""

    @cached_property
    def numbers(self) -> IntArray:
        """Numbers (n,) of the edges."""
        return np.array(list(self), dtype=np.int64)

    @cached_property
    def arrays(self) -> Wedges:
        """All of them in a row, (n, ...)."""
        if not self:
            none = np.zeros((0, 3))
            return none, none, none, none, np.zeros(0), np.zeros(0)
        return stacked(list(self.values()))


def wedge_of(room: Room, edge: int) -> Wedge:
    """Return (start, along, face, normal, length, air angle) of an edge: what the kernels call a wedge."""
    from sim.rays.shape_kernels import inside_polygon

    start, stop = room.edges.ends[edge]
    facet = room.facets[room.edges.facets[edge, 0]]
    length = float(np.linalg.norm(stop - start))
    along = (stop - start) / length
    into = np.cross(facet.normal, along)
    x, y = facet.to_plane(0.5 * (start + stop) + 1.0e-4 * into)
    if not inside_polygon(x, y, facet.border):
        into = -into
    return start.copy(), along, into, facet.normal.copy(), length, float(room.edges.air_angle_rad[edge])


def stacked(wedges: Sequence[Wedge]) -> Wedges:
    """Wedges one by one as arrays."""
    start, along, face, normal, length, air = zip(*wedges, strict=True)
    return np.array(start), np.array(along), np.array(face), np.array(normal), np.array(length), np.array(air)


def chosen(wedges: Wedges, rows: IntArray) -> Wedges:
    """Some of them."""
    start, along, face, normal, length, air = (np.ascontiguousarray(part[rows]) for part in wedges)
    return start, along, face, normal, length, air


def about_wedges(point: FloatArray, wedges: Wedges) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Distance, angle from face 0 and place along of a point (3,) about each edge, each (p,)."""
    start, along, face, normal, _, air = wedges
    x, y, z = (((point - start) * axis).sum(axis=1) for axis in (face, normal, along))
    angle = np.arctan2(y, x) % (2.0 * np.pi)
    angle[angle > 2.0 * np.pi - 1.0e-9] = 0.0  # on face 0, but for rounding
    return np.hypot(x, y), np.minimum(angle, air), z
