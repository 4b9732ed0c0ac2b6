"""Which stretches of an edge are seen from both ends of a path: arrays in, arrays out.

Facet and ray arrays as in `kernels`.
"""

from __future__ import annotations

import numpy as np

from sim.propagation.mirrors.kernels import trace_back
from sim.rays.eight_kernels import NOTHING
from sim.rays.kinds_of_kernels import inlined, kernel, part
from sim.rays.shape_kernels import is_hidden

HALVINGS = 30


@part
def leg_is_clear(end, images, sequence, point, own, planes, facets, rays):  # type: ignore[no-untyped-def]
    """Whether `end` reaches a point of an edge via the facets in `sequence` (k,), nothing in between.

    images: (k + 1, 3) of the end, the first the end itself; planes: (2,) of the edge's own facets.
    """
    tree, triangles, plane, owner = rays
    last = sequence.shape[0] - 1
    if last < 0:
        return not is_hidden(end, point, planes[0], planes[1], own, tree, triangles, plane, owner)
    points = np.empty((last + 1, 3))
    if not trace_back(point, last, sequence, images, facets, points):
        return False
    plane_of, start, before, passed = facets[3], end, NOTHING, own
    for k in range(last + 1):
        mirror = plane_of[sequence[k]]
        if is_hidden(start, points[k], before, mirror, passed, tree, triangles, plane, owner):
            return False
        start, before, passed = points[k], mirror, NOTHING
    # corners are kept to a micrometre, so an edge may lie a little behind its own faces: they hide nothing of it
    return not is_hidden(start, point, planes[0], planes[1], passed, tree, triangles, plane, owner)


@inlined
def put_along(edge, u, point):  # type: ignore[no-untyped-def]
    """Fill point (3,) with the place at share u of an edge (2, 3)."""
    for axis in range(3):
        point[axis] = edge[0, axis] + u * (edge[1, axis] - edge[0, axis])


@kernel
def clear_stretches(source, ear, edge, planes, own, looks, facets, rays):  # type: ignore[no-untyped-def]
    """Return stretches (m, 2) of an edge (2, 3), as shares 0 .. 1 of its length, that both ends see.

    looks: (source images, sequence from the source, ear images, sequence from the ear, cells).  The edge is looked at
    between `cells` cells, and every border of sight found is halved down to 1e-9 of a cell; what hides less than a
    cell between two places is missed.
    """
    source_images, before, ear_images, after, cells = looks
    found, point = np.empty((cells + 1, 2)), np.empty(3)
    count = 0
    was = False
    step = (1.0 - 2.0e-6) / cells
    for i in range(cells + 1):
        u = 1.0e-6 + i * step
        put_along(edge, u, point)
        clear = leg_is_clear(source, source_images, before, point, own, planes, facets, rays) and leg_is_clear(
            ear, ear_images, after, point, NOTHING, planes, facets, rays
        )
        border = u
        if i > 0 and clear != was:
            low, high = u - step, u
            for _ in range(HALVINGS):
                border = 0.5 * (low + high)
                put_along(edge, border, point)
                here = leg_is_clear(source, source_images, before, point, own, planes, facets, rays) and leg_is_clear(
                    ear, ear_images, after, point, NOTHING, planes, facets, rays
                )
                if here == was:
                    low = border
                else:
                    high = border
        if clear and not was:
            found[count, 0] = 0.0 if i == 0 else border
        if was and not clear:
            found[count, 1] = border
            count += 1
        was = clear
    if was:
        found[count, 1] = 1.0
        count += 1
    return found[:count]
