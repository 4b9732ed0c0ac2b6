"""Where paths meet surfaces: at what angle, and how far from both ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.paths import PathTable

NEAREST_M = 1e-3
"""Distances of an incidence from the ends of its path are at least this."""
SHORTEST_LEG_M = 1e-6
"""Shorter legs have no direction of their own."""
GRAZING_COS = 1e-6


@dataclass(frozen=True, slots=True)
class Incidences:
    """One row for each incidence of a path with a surface.

    Attributes
    ----------
    path
        (m,) row of the path.
    facet
        (m,) number of the facet.
    point
        (m, 3) where.
    arriving
        (m, 3) unit vector along the leg that ends there.
    cosine
        (m,) cosine of the angle between that leg and the normal.
    before_m, after_m
        (m,) length of the whole path up to this point, and from it to the ear.
    """

    path: IntArray
    facet: IntArray
    point: FloatArray
    arriving: FloatArray
    cosine: FloatArray
    before_m: FloatArray
    after_m: FloatArray

    def __len__(self) -> int:
        return len(self.path)

    def chosen(self, rows: IntArray | BoolArray | slice) -> Incidences:
        """Some of the incidences."""
        return Incidences(*(getattr(self, name)[rows] for name in Incidences.__slots__))


def incidences_with(built: BuiltScene, paths: PathTable, wanted: BoolArray) -> Incidences:
    """Return the incidences with the wanted facets (facet,), path by path for each turn.

    The first leg runs along `departure`; its length is that of the way from the driver to the first point along it,
    which for sample paths of surface maps, whose loudspeaker is a few centimetres off its place, is as much off.
    A negative number in `facets` is no surface; if a point stands there, such as on an edge, legs still begin and end
    at it.
    """
    path, turn = np.nonzero((paths.facets >= 0) & wanted[np.maximum(paths.facets, 0)])
    points, facet = paths.points, paths.facets[path, turn]
    starts = np.full((len(paths), 3), np.nan)
    for s, loudspeaker in enumerate(built.loudspeakers):
        mine = paths.loudspeaker == s
        starts[mine] = loudspeaker.driver_points[paths.driver[mine]]
    first = np.einsum("pi,pi->p", points[:, 0] - starts, paths.departure)
    between = np.linalg.norm(np.diff(points, axis=1), axis=2)
    travelled = np.cumsum(np.column_stack([first, between]), axis=1)
    arriving = _directions(built, paths)[path, turn]
    cosine = np.abs(np.einsum("mi,mi->m", arriving, built.room.arrays.normal[facet]))
    before = np.clip(travelled[path, turn], NEAREST_M, None)
    after = np.clip(paths.length_m[path] - before, NEAREST_M, None)
    return Incidences(path, facet, points[path, turn], arriving, np.clip(cosine, GRAZING_COS, 1.0), before, after)


def _directions(built: BuiltScene, paths: PathTable) -> FloatArray:
    """Unit vectors (p, K, 3) along the leg that ends at each point.

    In a corner, where two surfaces are touched at one point, the leg between them has no length but still the direction
    of the mirrored one before.
    """
    ways = np.empty_like(paths.points)
    ways[:, 0] = paths.departure
    for turn in range(1, paths.points.shape[1]):
        legs = paths.points[:, turn] - paths.points[:, turn - 1]
        length = np.linalg.norm(legs, axis=1, keepdims=True)
        normal = built.room.arrays.normal[np.maximum(paths.facets[:, turn - 1], 0)]
        before = ways[:, turn - 1]
        mirrored = before - 2.0 * np.einsum("pi,pi->p", before, normal)[:, None] * normal
        ways[:, turn] = np.where(length > SHORTEST_LEG_M, legs / np.maximum(length, SHORTEST_LEG_M), mirrored)
    return ways
