"""What a mirrored path must keep to, mirror by mirror and leg by leg: arrays in, arrays out.

Facet arrays arrive as one tuple `facets` = (normal, offset, frame, plane, border, border_start, rim, rim_start,
owner), ray arrays as `rays` = (tree, triangles, plane of triangle, owner of triangle), edges as `edges` =
(ends, plane pair, owner).  `own` is the number of the loudspeaker's own cabinet: the first leg passes it over,
since the directivity already knows the box.
"""

from __future__ import annotations

import math

import numpy as np

from sim.rays.eight_kernels import NOTHING
from sim.rays.kinds_of_kernels import kernel, part, whole
from sim.rays.ray_kernels import addresses_of, is_hidden_at
from sim.rays.shape_kernels import distance_to_border, inside_polygon, segment_distance

IN_FRONT_M = 1.0e-9
FAR_ENOUGH_M = 1.0e-6  # more than rounding in a bound of a distance
TOUCH_M = 1.0e-3  # nearer than this, two things lie against each other
ON_BORDER_M = 2.0e-6
"""Borders are kept on a grid of a micrometre, so that two that meet may gape by as much; no point falls through."""


@kernel
def height_above(normal, offset, p):  # type: ignore[no-untyped-def]
    """Signed distance of p in front of the plane."""
    return normal[0] * p[0] + normal[1] * p[1] + normal[2] * p[2] - offset


@part
def in_plane(f, p, facets):  # type: ignore[no-untyped-def]
    """Coordinates of a point in the two directions of facet f."""
    frame = facets[2][f]
    a, b, c = p[0] - frame[0, 0], p[1] - frame[0, 1], p[2] - frame[0, 2]
    x = a * frame[1, 0] + b * frame[1, 1] + c * frame[1, 2]
    return x, a * frame[2, 0] + b * frame[2, 1] + c * frame[2, 2]


@kernel
def in_facet(f, p, facets):  # type: ignore[no-untyped-def]
    """Whether a point of the plane of facet f lies in the facet, its border included."""
    x, y = in_plane(f, p, facets)
    sides = facets[4][facets[5][f] : facets[5][f + 1]]
    return inside_polygon(x, y, sides) or distance_to_border(x, y, sides) < ON_BORDER_M


@kernel
def rim_distance(f, p, facets):  # type: ignore[no-untyped-def]
    """Distance from a point of facet f's plane to the rim where its surface ends; negative outside it."""
    x, y = in_plane(f, p, facets)
    sides = facets[6][facets[7][f] : facets[7][f + 1]]
    away = distance_to_border(x, y, sides)
    return away if inside_polygon(x, y, sides) else -away


@part
def trace_back(ear, last, sequence, images, facets, points):  # type: ignore[no-untyped-def]
    """Fill points (last + 1, 3) from the ear back to the source; False when a point leaves its facet.

    An image not behind its facet is no image: a source in the facet's plane, or behind it, is not reflected there.
    """
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
        if behind >= -IN_FRONT_M:
            return False
        fraction = before / (before - behind)
        for axis in range(3):
            points[k, axis] = p[axis] + fraction * (images[k + 1, axis] - p[axis])
        p = points[k]
        if not in_facet(f, p, facets):
            return False
    return True


@part
def nearest_of_side(x, y, side):  # type: ignore[no-untyped-def]
    """Place of the point of a side nearest to (x, y)."""
    dx, dy = side[2] - side[0], side[3] - side[1]
    square = dx * dx + dy * dy
    t = min(1.0, max(0.0, ((x - side[0]) * dx + (y - side[1]) * dy) / square)) if square > 0.0 else 0.0
    return side[0] + t * dx, side[1] + t * dy


@part
def touches_facet(f, p, facets, slack, bare, touch):  # type: ignore[no-untyped-def]
    """Whether a point of the plane of facet f lies in the facet, or beside a bare side of it by less than slack[f].

    bare (r,) tells of each side of the rims (`facets[6]`) whether it ends in the air.  touch (3,) is filled with the
    point of the facet that stands for p: itself, or the nearest of the rim, which must be one of this very facet.
    """
    for axis in range(3):
        touch[axis] = p[axis]
    if in_facet(f, p, facets):
        return True
    if slack[f] <= 0.0:
        return False
    x, y = in_plane(f, p, facets)
    first, last = facets[7][f], facets[7][f + 1]
    if inside_polygon(x, y, facets[6][first:last]):
        return False
    best, near_x, near_y, open_side = slack[f] * slack[f], x, y, False
    for side in range(first, last):
        a, b = nearest_of_side(x, y, facets[6][side])
        square = (x - a) ** 2 + (y - b) ** 2
        if square < best:
            best, near_x, near_y, open_side = square, a, b, bare[side]
    if not open_side:
        return False
    if distance_to_border(near_x, near_y, facets[4][facets[5][f] : facets[5][f + 1]]) > ON_BORDER_M:
        return False
    frame = facets[2][f]
    for axis in range(3):
        touch[axis] = frame[0, axis] + near_x * frame[1, axis] + near_y * frame[2, axis]
    return True


@part
def trace_back_beside(ear, last, sequence, images, facets, slack, bare, points, touches):  # type: ignore[no-untyped-def]
    """As `trace_back`, but points may lie beside their facets as `touches_facet` tells; also fill touches."""
    normal, offset = facets[0], facets[1]
    p = ear
    for k in range(last, -1, -1):
        f = sequence[k]
        before = height_above(normal[f], offset[f], p)
        if before < -IN_FRONT_M or (k == last and before <= IN_FRONT_M):
            return False
        before = max(before, 0.0)
        behind = height_above(normal[f], offset[f], images[k + 1])
        if behind >= -IN_FRONT_M:
            return False
        fraction = before / (before - behind)
        for axis in range(3):
            points[k, axis] = p[axis] + fraction * (images[k + 1, axis] - p[axis])
        p = points[k]
        if not touches_facet(f, p, facets, slack, bare, touches[k]):
            return False
    return True


@part
def path_is_clear(source, ear, last, sequence, points, own, facets, rays):  # type: ignore[no-untyped-def]
    """Whether nothing stands in any leg of a traced path."""
    plane, p, before, owner = facets[3], source, NOTHING, own
    places = addresses_of(*rays)
    for k in range(last + 2):
        q = points[k] if k <= last else ear
        after = plane[sequence[k]] if k <= last else NOTHING
        if is_hidden_at(places, p[0], p[1], p[2], q[0], q[1], q[2], before, after, owner):
            return False
        p, before, owner = q, after, NOTHING
    return True


@part
def is_backed_by(f, e, facets, edges):  # type: ignore[no-untyped-def]
    """Whether edge e lies in the plane of facet f, or behind it on the same body: no leg to f can meet it."""
    if f < 0:
        return False
    normal, offset, plane, facet_owner, (ends, planes, owner) = facets[0], facets[1], facets[3], facets[8], edges
    if planes[e, 0] == plane[f] or planes[e, 1] == plane[f]:
        return True
    highest = max(height_above(normal[f], offset[f], ends[e, 0]), height_above(normal[f], offset[f], ends[e, 1]))
    return owner[e] == facet_owner[f] and highest < TOUCH_M


@part
def leg_margin(p, q, before, after, own, facets, edges):  # type: ignore[no-untyped-def]
    """Return (distance, edge) of the nearest edge that sticks out and could come into the leg pq.

    before, after: facets at the ends of the leg, -1 where it is the source or the ear.
    """
    ends, _, owner = edges
    least, nearest = math.inf, -1
    ux, uy, uz = q[0] - p[0], q[1] - p[1], q[2] - p[2]
    square = ux * ux + uy * uy + uz * uz
    for e in range(ends.shape[0]):
        if owner[e] == own:
            continue
        # the ball about the edge: no edge is nearer than its middle less half its length
        ax, ay, az = ends[e, 0, 0] - p[0], ends[e, 0, 1] - p[1], ends[e, 0, 2] - p[2]
        bx, by, bz = ends[e, 1, 0] - p[0], ends[e, 1, 1] - p[1], ends[e, 1, 2] - p[2]
        x, y, z = 0.5 * (ax + bx), 0.5 * (ay + by), 0.5 * (az + bz)
        t = min(1.0, max(0.0, (x * ux + y * uy + z * uz) / square)) if square > 0.0 else 0.0
        x, y, z = x - t * ux, y - t * uy, z - t * uz
        half = 0.5 * math.sqrt((bx - ax) ** 2 + (by - ay) ** 2 + (bz - az) ** 2)
        far = least + half + FAR_ENOUGH_M
        if x * x + y * y + z * z > far * far:
            continue
        away = segment_distance(p, q, ends[e, 0], ends[e, 1])
        if away >= least or is_backed_by(before, e, facets, edges) or is_backed_by(after, e, facets, edges):
            continue
        least, nearest = away, e
    return least, nearest


@kernel
def path_margins(source, ear, sequences, places, own, facets, edges):  # type: ignore[no-untyped-def]
    """Return (margin, which, kind) for paths (n, order): how far each is from vanishing.

    kind 0: the point slides off facet `which`; kind 1: edge `which` comes into a leg.
    """
    n, order = sequences.shape
    margin, which, kind = np.empty(n), np.empty(n, np.int64), np.empty(n, np.int64)
    for i in range(n):
        margin[i], which[i], kind[i] = math.inf, -1, 0
        p, before = source, NOTHING
        for k in range(order + 1):
            f = sequences[i, k] if k < order else NOTHING
            q = places[i, k] if f >= 0 else ear
            away, edge = leg_margin(p, q, before, f, own if k == 0 else NOTHING, facets, edges)
            if away < margin[i]:
                margin[i], which[i], kind[i] = away, edge, 1
            if f < 0:
                break
            away = rim_distance(f, q, facets)
            if away < margin[i]:
                margin[i], which[i], kind[i] = away, f, 0
            p, before = q, f
    return margin, which, kind


@kernel
def mirror_samples(sources, ears, f, own, facets, rays):  # type: ignore[no-untyped-def]
    """Return (valid (m,), points (m, 3)) of the first-order path by facet f for pairs of ends (m, 3)."""
    normal, offset = facets[0], facets[1]
    m, last = sources.shape[0], whole(0)
    valid = np.zeros(m, np.bool_)
    points, images, place = np.empty((m, 3)), np.empty((2, 3)), np.empty((1, 3))
    sequence = np.empty(1, np.int64)
    sequence[0] = f
    for i in range(m):
        for axis in range(3):
            points[i, axis] = math.nan
        height = height_above(normal[f], offset[f], sources[i])
        if height <= IN_FRONT_M:
            continue
        for axis in range(3):
            images[0, axis] = sources[i, axis]
            images[1, axis] = sources[i, axis] - 2.0 * height * normal[f, axis]
        if trace_back(ears[i], last, sequence, images, facets, place):
            for axis in range(3):
                points[i, axis] = place[0, axis]
            valid[i] = path_is_clear(sources[i], ears[i], last, sequence, place, own, facets, rays)
    return valid, points
