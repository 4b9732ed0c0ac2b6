"""Every surface asked whether it mirrors a driver to a listener: arrays in, arrays out.

`facets`, `rays` and `edges` are the tuples of `sim.propagation.mirrors.kernels`.
"""

from __future__ import annotations

import math

import numpy as np

from sim.propagation.mirrors.kernels import IN_FRONT_M, TOUCH_M, height_above, in_facet, in_plane, rim_distance
from sim.rays.eight_kernels import NOTHING
from sim.rays.kinds_of_kernels import kernel, part
from sim.rays.shape_kernels import blocker, distance_to_border, segment_distance


@part
def way_out(p, q, f, body, facets, edges):  # type: ignore[no-untyped-def]
    """Distance from the leg pq to the nearest edge of a body past which it could leave that body's shade."""
    least = math.inf
    for e in range(edges[0].shape[0]):
        a, b = edges[0][e, 0], edges[0][e, 1]
        height = max(abs(height_above(facets[0][f], facets[1][f], a)), abs(height_above(facets[0][f], facets[1][f], b)))
        # there is none past an edge that stands against the mirror itself, such as the foot of a cupboard
        if edges[2][e] == body and height >= TOUCH_M:
            least = min(least, segment_distance(p, q, a, b))
    return least


@kernel
def survey(source, ear, own, facets, rays, edges):  # type: ignore[no-untyped-def]
    """Look at every facet once: return (points (f, 3), inside (f,), rim (f,), blocked_by (f,), shade (f,)).

    A facet that does not face both ends has points of nan.  blocked_by: facet in the way of either leg, or -1.
    shade: how deep the leg lies in that body's shade, as the distance to its nearest edge that sticks out; of two
    blocked legs, that of the deeper.
    """
    normal, offset, plane, owner_of = facets[0], facets[1], facets[3], rays[3]
    n = offset.shape[0]
    points, inside, rim = np.empty((n, 3)), np.zeros(n, np.bool_), np.empty(n)
    blocked_by, shade = np.empty(n, np.int64), np.empty(n)
    for f in range(n):
        rim[f], blocked_by[f], shade[f] = math.nan, NOTHING, math.nan
        for axis in range(3):
            points[f, axis] = math.nan
        a, b = height_above(normal[f], offset[f], source), height_above(normal[f], offset[f], ear)
        if a <= IN_FRONT_M or b <= IN_FRONT_M:
            continue
        q, fraction = points[f], b / (b + a)
        for axis in range(3):
            image = source[axis] - 2.0 * a * normal[f, axis]
            q[axis] = ear[axis] + fraction * (image - ear[axis])
        inside[f], rim[f] = in_facet(f, q, facets), rim_distance(f, q, facets)
        for leg in range(2):
            p, skip = (source, own) if leg == 0 else (ear, NOTHING)
            k = blocker(p, q, NOTHING, plane[f], skip, *rays)
            depth = way_out(p, q, f, owner_of[k], facets, edges) if k >= 0 else 0.0
            if k >= 0 and (blocked_by[f] < 0 or depth > shade[f]):
                blocked_by[f], shade[f] = k, depth
    return points, inside, rim, blocked_by, shade


@kernel
def nearest_of_planes(points, inside, facets):  # type: ignore[no-untyped-def]
    """Whether each facet (f,) is the one of its plane to be named for the points (f, 3) of `survey`.

    Among facets that continue each other one is hit, or the nearest misses; the others are no mirrors of their own.
    """
    plane, n = facets[3], inside.shape[0]
    named = np.zeros(n, np.bool_)
    for f in range(n):
        if math.isnan(points[f, 0]):
            continue
        named[f] = inside[f]
        if inside[f]:
            continue
        least, nearest = math.inf, -1
        for g in range(n):
            if plane[g] != plane[f]:
                continue
            if inside[g]:
                nearest = -1
                break
            x, y = in_plane(g, points[f], facets)
            away = distance_to_border(x, y, facets[4][facets[5][g] : facets[5][g + 1]])
            if away < least:
                least, nearest = away, g
        named[f] = nearest == f
    return named


@kernel
def survey_all(sources, own, ears, facets, rays, edges):  # type: ignore[no-untyped-def]
    """`survey` of every driver (n, 3) of bodies own (n,) and every ear (m, 3), and `nearest_of_planes` of each.

    Arrays (n * m, f, ...): points, named, inside, rim, blocked_by, shade.
    """
    n, m, count = sources.shape[0], ears.shape[0], facets[1].shape[0]
    points, rim, shade = np.empty((n * m, count, 3)), np.empty((n * m, count)), np.empty((n * m, count))
    inside, named = np.empty((n * m, count), np.bool_), np.empty((n * m, count), np.bool_)
    blocked_by = np.empty((n * m, count), np.int64)
    for i in range(n):
        for j in range(m):
            row = i * m + j
            place, within, away, blocker_of, depth = survey(sources[i], ears[j], own[i], facets, rays, edges)
            chosen = nearest_of_planes(place, within, facets)
            for f in range(count):
                for axis in range(3):
                    points[row, f, axis] = place[f, axis]
                inside[row, f], named[row, f], rim[row, f] = within[f], chosen[f], away[f]
                blocked_by[row, f], shade[row, f] = blocker_of[f], depth[f]
    return points, named, inside, rim, blocked_by, shade
