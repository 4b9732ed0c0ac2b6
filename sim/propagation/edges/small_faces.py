"""Edges of small facets, with a mirror that ends in the air: the weight of their mirror terms.

A path via a desk and the side of a cabinet has the desk's factor F, as edges of the desk are not traced with so
small a mirror.  Where it leaves the side, the side's edge takes over with the very weight the path had
(`surfaces.two_finite_mirrors`).  The terms of the borders of shadow belong to the path by the desk
alone and keep theirs.
"""

from __future__ import annotations

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.surfaces.finite_facets import SMALLEST_MIRROR_M2, factor_of_facet, finite_facets
from sim.propagation.surfaces.incidence import GRAZING_COS, NEAREST_M, Incidences
from sim.propagation.surfaces.two_finite_mirrors import clear_of_face, inside_share, share_of_edges

NEAR_BORDER_RAD = np.radians(20.0)
"""So far off the border of the face's mirror zone the weight is 1 again: there single edges and chains, which have no
such weight, belong together."""


def small_face_weights(
    built: BuiltScene,
    facets: IntArray,
    angles: tuple[FloatArray, FloatArray],
    mirror: int,
    points: FloatArray,
    end: FloatArray,
    length_m: FloatArray,
    frequencies_hz: FloatArray,
) -> ComplexArray:
    """Weights (p, 2, f) of the mirror terms of p edges, by the facets (p, 2) beside them, -1 for none.

    angles: (p, 2) each, as of `soft_faces.weights_and_angles`; mirror: number of the facet before or after the edges;
    points: (p, 3) where it is met; end: (3,) source or ear on its side; length_m: (p,) of the whole way.
    """
    weights = np.ones((*facets.shape, len(frequencies_hz)), dtype=np.complex128)
    if not finite_facets(built)[mirror]:
        return weights
    small = np.array([facet.area_m2 < SMALLEST_MIRROR_M2 for facet in built.room.facets])[facets] & (facets >= 0)
    rows = np.flatnonzero(small.any(axis=1))
    if not rows.size:
        return weights
    cosines, off_border = angles
    leg = points[rows] - end
    first = np.linalg.norm(leg, axis=1)
    leg = leg / np.maximum(first, NEAREST_M)[:, None]
    met = Incidences(
        rows,
        np.full(len(rows), mirror),
        points[rows],
        leg,
        np.clip(np.abs(leg @ built.room.arrays.normal[mirror]), GRAZING_COS, 1.0),
        np.maximum(first, NEAREST_M),
        np.maximum(length_m[rows] - first, NEAREST_M),
    )
    factor = factor_of_facet(built, mirror, met, np.zeros(len(rows)), frequencies_hz)
    inside = inside_share(built, met.facet, met.point)
    for side in range(2):
        few = np.flatnonzero(small[rows, side])
        clear = clear_of_face(cosines[rows[few], side])
        near = np.cos(0.5 * np.pi * np.minimum(off_border[rows[few], side] / NEAR_BORDER_RAD, 1.0)) ** 2
        weights[rows[few], side] += near[:, None] * (share_of_edges(inside[few], clear, factor[few]) - 1.0)
    return weights
