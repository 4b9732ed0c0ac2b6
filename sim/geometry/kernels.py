"""Ray queries on triangles: arrays in, numbers out.

A binary tree of boxes over the triangles, walked with a small stack.  Everything is float64; both sides of a
triangle stop a ray.  A ray that runs exactly along an edge counts as hitting, so that nothing leaks between two
triangles that share it.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

LEAF_SIZE = 4
STACK = 96
END_GAP_M = 1.0e-7
"""Hits nearer than this to either end of a segment are the surfaces the segment starts or ends on."""
EDGE_SLACK = 1.0e-12
BOX_PAD_M = 1.0e-9
"""Boxes are this much larger than what they hold, so that a ray in the very face of a box is inside it."""


@nb.njit(cache=True)
def build_tree(low, high, middle):  # type: ignore[no-untyped-def]
    """Return (order, boxes, child, count): a binary tree of boxes by median splits.

    low, high, middle: (n, 3) corners and middles of the triangles' boxes.  boxes: (m, 6); child: (m,) left
    child (its sibling is the next node) or, in a leaf, the first place in `order`; count: (m,) triangles in a
    leaf, 0 inside.
    """
    n = low.shape[0]
    order = np.arange(n)
    size = max(1, 2 * n)
    boxes = np.zeros((size, 6))
    child = np.zeros(size, np.int64)
    count = np.zeros(size, np.int64)
    begin = np.zeros(size, np.int64)
    end = np.zeros(size, np.int64)
    end[0] = n
    used = 1
    node = 0
    while node < used:
        a, b = begin[node], end[node]
        for axis in range(3):
            lo, hi = math.inf, -math.inf
            for i in range(a, b):
                lo = min(lo, low[order[i], axis])
                hi = max(hi, high[order[i], axis])
            boxes[node, axis], boxes[node, 3 + axis] = lo - BOX_PAD_M, hi + BOX_PAD_M
        if b - a <= LEAF_SIZE:
            child[node], count[node] = a, b - a
        else:
            axis, widest = 0, -1.0
            for k in range(3):
                lo, hi = math.inf, -math.inf
                for i in range(a, b):
                    lo = min(lo, middle[order[i], k])
                    hi = max(hi, middle[order[i], k])
                if hi - lo > widest:
                    axis, widest = k, hi - lo
            rank = np.argsort(middle[order[a:b], axis], kind="mergesort")
            order[a:b] = order[a:b][rank]
            half = (a + b) // 2
            child[node] = used
            begin[used], end[used] = a, half
            begin[used + 1], end[used + 1] = half, b
            used += 2
        node += 1
    return order, boxes[:used].copy(), child[:used].copy(), count[:used].copy()


@nb.njit(cache=True)
def triangle_hit(px, py, pz, dx, dy, dz, tri):  # type: ignore[no-untyped-def]
    """Return t where point + t * direction meets the triangle (3, 3), or infinity.

    Moller & Trumbore, J. Graphics Tools 2 (1997) 21-28, two-sided, edges included.
    """
    e1x, e1y, e1z = tri[1, 0] - tri[0, 0], tri[1, 1] - tri[0, 1], tri[1, 2] - tri[0, 2]
    e2x, e2y, e2z = tri[2, 0] - tri[0, 0], tri[2, 1] - tri[0, 1], tri[2, 2] - tri[0, 2]
    qx, qy, qz = dy * e2z - dz * e2y, dz * e2x - dx * e2z, dx * e2y - dy * e2x
    det = e1x * qx + e1y * qy + e1z * qz
    if det == 0.0:
        return math.inf
    inv = 1.0 / det
    sx, sy, sz = px - tri[0, 0], py - tri[0, 1], pz - tri[0, 2]
    u = (sx * qx + sy * qy + sz * qz) * inv
    if u < -EDGE_SLACK or u > 1.0 + EDGE_SLACK:
        return math.inf
    rx, ry, rz = sy * e1z - sz * e1y, sz * e1x - sx * e1z, sx * e1y - sy * e1x
    v = (dx * rx + dy * ry + dz * rz) * inv
    if v < -EDGE_SLACK or u + v > 1.0 + EDGE_SLACK:
        return math.inf
    return (e2x * rx + e2y * ry + e2z * rz) * inv


@nb.njit(cache=True)
def box_entry(px, py, pz, ix, iy, iz, box, t_max):  # type: ignore[no-untyped-def]
    """Return where the ray enters the box (6,), or infinity if it misses it before t_max."""
    ax, bx = (box[0] - px) * ix, (box[3] - px) * ix
    ay, by = (box[1] - py) * iy, (box[4] - py) * iy
    az, bz = (box[2] - pz) * iz, (box[5] - pz) * iz
    near = max(min(ax, bx), min(ay, by), min(az, bz), 0.0)
    far = min(max(ax, bx), max(ay, by), max(az, bz), t_max)
    if near <= far * (1.0 + 1.0e-12) + 1.0e-12:
        return near
    return math.inf


@nb.njit(cache=True)
def nearest_hit(p, d, t_min, t_max, plane_a, plane_b, owner, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Return (t, triangle) of the nearest hit of p + t d with t_min < t < t_max, or (inf, -1).

    Triangles lying in plane_a or plane_b (numbers of oriented planes) or belonging to `owner` are passed over;
    -1 passes over nothing.  tree: (order, boxes, child, count) from `build_tree`.
    """
    order, boxes, child, count = tree
    tiny = 1.0e-300
    ix = 1.0 / d[0] if abs(d[0]) > tiny else math.copysign(1.0e300, d[0])
    iy = 1.0 / d[1] if abs(d[1]) > tiny else math.copysign(1.0e300, d[1])
    iz = 1.0 / d[2] if abs(d[2]) > tiny else math.copysign(1.0e300, d[2])
    best, found = t_max, -1
    stack = np.zeros(STACK, np.int64)
    top = 1
    while top > 0:
        top -= 1
        node = stack[top]
        if box_entry(p[0], p[1], p[2], ix, iy, iz, boxes[node], best) == math.inf:
            continue
        if count[node] == 0:
            if boxes.shape[0] == 1:
                continue
            stack[top] = child[node]
            stack[top + 1] = child[node] + 1
            top += 2
            continue
        for i in range(child[node], child[node] + count[node]):
            k = order[i]
            if owner_of[k] == owner or plane[k] == plane_a or plane[k] == plane_b:
                continue
            t = triangle_hit(p[0], p[1], p[2], d[0], d[1], d[2], triangles[k])
            if t > t_min and (t < best or (t == best and found == -1 and t < t_max)):
                best, found = t, k
    if found < 0:
        return math.inf, -1
    return best, found


@nb.njit(cache=True)
def blocker(p, q, plane_a, plane_b, owner, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Return the first triangle between points p and q, or -1 when they see each other."""
    d = q - p
    length = math.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
    if length < 4.0 * END_GAP_M:
        return -1
    gap = END_GAP_M / length
    return nearest_hit(p, d, gap, 1.0 - gap, plane_a, plane_b, owner, tree, triangles, plane, owner_of)[1]


@nb.njit(cache=True)
def inside_polygon(x, y, border):  # type: ignore[no-untyped-def]
    """Whether a point lies in the polygon with holes whose sides are border (b, 4): x0, y0, x1, y1; even-odd."""
    odd = False
    for i in range(border.shape[0]):
        x0, y0, x1, y1 = border[i, 0], border[i, 1], border[i, 2], border[i, 3]
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) * (x1 - x0) / (y1 - y0):
            odd = not odd
    return odd


@nb.njit(cache=True)
def distance_to_border(x, y, border):  # type: ignore[no-untyped-def]
    """Return the least distance from a point to the sides border (b, 4)."""
    least = math.inf
    for i in range(border.shape[0]):
        x0, y0 = border[i, 0], border[i, 1]
        dx, dy = border[i, 2] - x0, border[i, 3] - y0
        square = dx * dx + dy * dy
        t = 0.0 if square == 0.0 else min(1.0, max(0.0, ((x - x0) * dx + (y - y0) * dy) / square))
        least = min(least, math.hypot(x - x0 - t * dx, y - y0 - t * dy))
    return least


@nb.njit(cache=True)
def segment_distance(p, q, a, b):  # type: ignore[no-untyped-def]
    """Return the least distance between segments pq and ab.

    Ericson, Real-Time Collision Detection (2005), section 5.1.9.
    """
    u, v, w = q - p, b - a, p - a
    uu, uv, vv = np.dot(u, u), np.dot(u, v), np.dot(v, v)
    uw, vw = np.dot(u, w), np.dot(v, w)
    if uu < 1.0e-24:
        s = 0.0
        t = 0.0 if vv < 1.0e-24 else min(1.0, max(0.0, vw / vv))
    elif vv < 1.0e-24:
        t = 0.0
        s = min(1.0, max(0.0, -uw / uu))
    else:
        det = uu * vv - uv * uv
        s = min(1.0, max(0.0, (uv * vw - vv * uw) / det)) if det > 1.0e-14 * uu * vv else 0.0
        t = (uv * s + vw) / vv
        if t < 0.0:
            t, s = 0.0, min(1.0, max(0.0, -uw / uu))
        elif t > 1.0:
            t, s = 1.0, min(1.0, max(0.0, (uv - uw) / uu))
    x, y, z = w + s * u - t * v
    return math.sqrt(x * x + y * y + z * z)
