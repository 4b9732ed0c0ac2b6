"""A large finite facet and a small one in turn: when edges stand for the small one, and when its factor.

Sound via a desk and the side of a cabinet: the edges of the side are traced with the desk as their mirror, those
of the desk with the side, which is under 0.3 m2, are not.  So the desk has its factor F there, and the edges of the
side have to have it too, or the level steps where the path leaves the side.  But through the mirror of the desk they
are seen only while the path's point lies on the desk.  So the edges stand for the side inside the desk alone, with a
share w that is 0 on its rim; the rest goes by the product of both factors, which knows no rims:

    image = q (within the side) + (1 - w) n F_desk F_side,   mirror term of its edge times q = w (1 - c + c F_desk)

A source or an ear that grazes the side sees an edge at its far end come and go all at once, which chains over the
rigid body make up for (`edges.chains`); so q is w there, and c = 0.  Where edges with mirrors fade out, above 8 kHz, w
of the image does as they do, and the product remains.  What edges send is kept on a grid of frequencies, and so is
F_desk here: read between them alike, the two cancel.  All is our own, no source; F is that of `finite_facets`.
"""

from __future__ import annotations

import numpy as np

from sim.acoustics.bands import fade_below
from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.geometry.bare_sides import bare_sides
from sim.placement.built_scene import BuiltScene

MIRRORED_TO_HZ = 8000.0
"""Edges with mirrors before or after them are followed so far; they fade out over a third of an octave."""
INSIDE_M = 0.03
"""So far inside the rim of the large facet the edges of the small one stand for it alone."""
NARROW_M = 0.05, 0.15
"""Facets narrower than the first have no factor here, which says far too much of them; from the second on all of it."""
CLEAR_COS = float(np.sin(np.radians(10.0)))
"""Cosine of the angle of incidence from which an end does not graze a face: 10 degrees off it, as in `edges.convex`."""


def edge_frequencies() -> FloatArray:
    """Grid in Hz (g,): 24 to the octave, but never wider than 75 Hz between 2.6 and 10 kHz.

    Corners of an edge lie up to 3 ms behind its apex; a step of 75 Hz still samples that wiggle four times a turn.
    """
    low = np.geomspace(20.0, 2600.0, 170)
    middle = np.arange(2675.0, 10_000.0, 75.0)
    return np.concatenate([low, middle, np.geomspace(10_000.0, 22_050.0, 28)])


def from_grid(values: ComplexArray, frequencies_hz: FloatArray) -> ComplexArray:
    """Values (m, g) on the grid of `edge_frequencies`, read at others (f,) as gains of edges are (m, f)."""
    grid = edge_frequencies()
    read = [
        np.interp(frequencies_hz, grid, one.real) + 1j * np.interp(frequencies_hz, grid, one.imag) for one in values
    ]
    return np.array(read, dtype=np.complex128).reshape(len(values), len(frequencies_hz))


def inside_share(built: BuiltScene, facets: IntArray, points: FloatArray) -> FloatArray:
    """Share w (m,) of points (m, 3) in the planes of facets: 0 outside and on a bare side, 1 from `INSIDE_M` on."""
    from sim.rays.shape_kernels import distance_to_border, inside_polygon

    arrays, bare, deep = built.room.arrays, bare_sides(built.room), np.zeros(len(points))
    for n, (f, point) in enumerate(zip(facets, points, strict=True)):
        sides = slice(arrays.rim_start[f], arrays.rim_start[f + 1])
        rim, place = arrays.rim[sides], built.room.facets[f].to_plane(point)
        if inside_polygon(place[0], place[1], rim):
            deep[n] = min(distance_to_border(place[0], place[1], frozen(rim[bare[sides]])), INSIDE_M)
    return np.asarray(np.sin(0.5 * np.pi * deep / INSIDE_M) ** 2)


def broadness(built: BuiltScene, facets: IntArray) -> FloatArray:
    """Share n (m,) of the factors of facets that is taken: by width, which is area over longest diagonal."""
    known = [built.room.facets[f] for f in facets]
    widths = [one.area_m2 / np.linalg.norm(one.corners[:, None] - one.corners[None], axis=2).max() for one in known]
    return np.clip((np.array(widths) - NARROW_M[0]) / (NARROW_M[1] - NARROW_M[0]), 0.0, 1.0)


def clear_of_face(cosine: FloatArray) -> FloatArray:
    """Weight c (m,) of incidences at a face: 0 where they graze it, 1 from 10 degrees on."""
    return np.asarray(np.sin(0.5 * np.pi * np.minimum(cosine / CLEAR_COS, 1.0)) ** 2)


def share_of_edges(inside: FloatArray, clear: FloatArray, factor: ComplexArray) -> ComplexArray:
    """Weight q (m, f) of the mirror term of the small facet's edges; factor F (m, f) of the large one."""
    return np.asarray(inside[:, None] * (1.0 + clear[:, None] * (factor - 1.0)))


def shared_factors(
    within: FloatArray,
    inside: FloatArray,
    clear: FloatArray,
    large: ComplexArray,
    small: ComplexArray,
    frequencies_hz: FloatArray,
) -> ComplexArray:
    """What (m, f) images over both facets keep; within: (m,) 1 inside the small one, 0 outside; F of both (m, f)."""
    followed = fade_below(frequencies_hz, MIRRORED_TO_HZ)
    alone = within[:, None] * followed * share_of_edges(inside, clear, large)
    return np.asarray(alone + (1.0 - inside[:, None] * followed) * large * small)
