"""Soft faces beside an edge: weights of the parts of its sound, by what each face reflects.

Luebbers, IEEE Trans. Antennas Propag. 32 (1984) 70-76: of the four terms of a wedge, the two that carry the borders
of shadow keep weight 1, the one that carries the border of a face's mirror zone gets the reflection factor of that
face. On that border, where the mirrored path ends at the edge, the weight is the factor of that very path, so that
the total stays continuous whatever the face is made of; with factors of 1 the wedge is rigid.

A heuristic, not a solution: away from the borders the true wedge of an absorber differs.  The angle at which a face
is met is Luebbers' own on the border and elsewhere the smaller of those of source and ear, no more than a right
angle, which makes source and ear exchangeable (his are not).
"""

from __future__ import annotations

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.wedges import Wedges, about_wedges, chosen
from sim.propagation.surfaces.factors import facet_factors
from sim.propagation.surfaces.incidence import GRAZING_COS, NEAREST_M, Incidences


def face_weights(
    built: BuiltScene, facets: IntArray, wedges: Wedges, source: FloatArray, ear: FloatArray, frequencies_hz: FloatArray
) -> ComplexArray:
    """Weights (p, 2, f) of the mirror terms of p edges: reflection factors of the facets (p, 2) beside them.

    source, ear: (3,) or their images.  A facet -1 is rigid.
    """
    return weights_and_angles(built, facets, wedges, source, ear, frequencies_hz)[0]


def weights_and_angles(
    built: BuiltScene, facets: IntArray, wedges: Wedges, source: FloatArray, ear: FloatArray, frequencies_hz: FloatArray
) -> tuple[ComplexArray, FloatArray, FloatArray]:
    """As `face_weights`; also (p, 2) cosines of the angles at which the facets are met, and off the mirror border.

    The latter in rad: how far the angles of source and ear about the edge are from half a turn together.
    """
    weights = np.ones((*facets.shape, len(frequencies_hz)), dtype=np.complex128)
    cosines = np.ones(facets.shape)
    ends = about_wedges(source, wedges), about_wedges(ear, wedges)
    both = ends[0][1] + ends[1][1]
    off_border = np.abs(np.pi - np.stack([both, 2.0 * wedges[5] - both], axis=1))
    for side in range(2):
        known = np.flatnonzero(facets[:, side] >= 0)
        if known.size:
            seen = tuple(tuple(part[known] for part in end) for end in ends)
            met = _incidences(facets[known, side], chosen(wedges, known), seen, side)
            weights[known, side] = facet_factors(built, met, frequencies_hz)
            cosines[known, side] = met.cosine
    return weights, cosines, off_border


def weighted(parts: ComplexArray, weights: ComplexArray) -> ComplexArray:
    """Pressure (p, f) of edges from their parts (p, 3, f) and the weights (p, 2, f) of their mirror terms."""
    return np.asarray(parts[:, 0] + parts[:, 1] * weights[:, 0] + parts[:, 2] * weights[:, 1])


def _incidences(facet: IntArray, wedges: Wedges, ends: tuple[tuple[FloatArray, ...], ...], side: int) -> Incidences:
    """Where the way over each edge's apex meets the face on one side, 0 or 1: on the edge itself.

    ends: `about_wedges` of source and ear.
    """
    start, along, face, normal, length, air = wedges
    (r_s, angle_s, z_s), (r_e, angle_e, z_e) = ends
    if side == 1:  # seen from the other face, which lies the air angle on
        turned = np.cos(air)[:, None] * face + np.sin(air)[:, None] * normal
        normal = np.sin(air)[:, None] * face - np.cos(air)[:, None] * normal
        face, angle_s, angle_e = turned, air - angle_s, air - angle_e
    whole = np.maximum(np.hypot(r_s + r_e, z_e - z_s), NEAREST_M)
    square, slant = (r_s + r_e) / whole, (z_e - z_s) / whole
    least = np.clip(np.minimum(angle_s, angle_e), 0.0, 0.5 * np.pi)
    cosine = np.clip(square * np.sin(least), GRAZING_COS, 1.0)
    inward = 0.5 * square * (np.cos(angle_e) - np.cos(angle_s))
    apex = np.clip((z_s * r_e + z_e * r_s) / np.maximum(r_s + r_e, NEAREST_M), 0.0, length)
    before, after = np.hypot(r_s, apex - z_s), np.hypot(r_e, apex - z_e)
    return Incidences(
        path=np.arange(len(facet)),
        facet=facet,
        point=start + apex[:, None] * along,
        arriving=inward[:, None] * face + slant[:, None] * along - cosine[:, None] * normal,
        cosine=cosine,
        before_m=np.maximum(before, NEAREST_M),
        after_m=np.maximum(after, NEAREST_M),
    )
