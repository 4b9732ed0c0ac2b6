"""The plain search for mirrored paths: every sequence of facets in turn, compiled so that tests can afford it.

The twin of `sim.propagation.mirrors.path_kernels`: no beams, no rectangles, no vectors.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

from sim.propagation.mirrors.kernels import IN_FRONT_M, height_above, in_facet
from sim.rays.shape_kernels import blocker


@nb.njit(cache=True)
def trace_back_plainly(ear, last, sequence, images, facets, points):  # type: ignore[no-untyped-def]
    """Fill points (last + 1, 3) from the ear back to the source; False when a point leaves its facet."""
    normal, offset = facets[0], facets[1]
    p = ear
    for k in range(last, -1, -1):
        f = sequence[k]
        before = height_above(normal[f], offset[f], p)
        # a point on the edge of two facets lies in the plane of the next: no length between them, but a path
        if before < -IN_FRONT_M or (k == last and before <= IN_FRONT_M):
            return False
        before = max(before, 0.0)
        behind = height_above(normal[f], offset[f], images[k + 1])
        q = p + (before / (before - behind)) * (images[k + 1] - p)
        if not in_facet(f, q, facets):
            return False
        points[k] = q
        p = q
    return True


@nb.njit(cache=True)
def clear_plainly(source, ear, last, sequence, points, own, facets, rays):  # type: ignore[no-untyped-def]
    """Whether nothing stands in any leg of a traced path."""
    plane = facets[3]
    if blocker(source, points[0], -1, plane[sequence[0]], own, *rays) >= 0:
        return False
    for k in range(last):
        if blocker(points[k], points[k + 1], plane[sequence[k]], plane[sequence[k + 1]], -1, *rays) >= 0:
            return False
    return blocker(points[last], ear, plane[sequence[last]], -1, -1, *rays) < 0


@nb.njit(cache=True)
def find_plainly(source, ear, order, allowed_first, faces, own, facets, rays, capacity):  # type: ignore[no-untyped-def]
    """Return (count, sequence (capacity, order), points (capacity, order, 3)) of all valid mirrored paths.

    Images are mirrored facet by facet, depth first (Borish, JASA 75 (1984) 1827-1836), each traced back from the
    ear and tested for obstacles.  allowed_first (f,): facets the first mirror may use; faces (f, f): whether
    two facets have any part in front of each other.  A count above capacity means: call again with more room.
    """
    normal, offset, plane = facets[0], facets[1], facets[3]
    n = offset.shape[0]
    sequences = np.full((capacity, order), -1, np.int64)
    places = np.full((capacity, order, 3), math.nan)
    sequence = np.full(order, -1, np.int64)
    points = np.zeros((order, 3))
    images = np.zeros((order + 1, 3))
    images[0] = source
    count, depth = 0, 0
    while depth >= 0:
        sequence[depth] += 1
        f = sequence[depth]
        if f == n:
            depth -= 1
            continue
        if depth == 0:
            if not allowed_first[f]:
                continue
        elif not faces[sequence[depth - 1], f] or plane[f] == plane[sequence[depth - 1]]:
            continue
        height = height_above(normal[f], offset[f], images[depth])
        if height <= IN_FRONT_M:
            continue
        images[depth + 1] = images[depth] - 2.0 * height * normal[f]
        if trace_back_plainly(ear, depth, sequence, images, facets, points) and clear_plainly(
            source, ear, depth, sequence, points, own, facets, rays
        ):
            if count < capacity:
                sequences[count, : depth + 1] = sequence[: depth + 1]
                places[count, : depth + 1] = points[: depth + 1]
            count += 1
        if depth + 1 < order:
            depth += 1
            sequence[depth] = -1
    return count, sequences, places
