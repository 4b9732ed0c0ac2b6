"""Questions to triangles, polygons and segments: arrays in, numbers out.

Ray queries pass the room's tree to `ray_kernels`, which take addresses; here they take points as arrays and the room
as `*room.ray_arrays`.  Both sides of a triangle stop a ray.  A ray that runs exactly along an edge counts as hitting,
so that nothing leaks between two triangles that share it.
"""

from __future__ import annotations

import math

from sim.rays.kinds_of_kernels import kernel
from sim.rays.ray_kernels import addresses_of, first_between_at, is_hidden_at, nearest_but

EDGE_SLACK = 1.0e-12


@kernel
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


@kernel
def nearest_hit(p, d, t_min, t_max, plane_a, plane_b, owner, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Return (t, triangle) of the nearest hit of p + t d with t_min < t < t_max, or (inf, -1).

    Triangles lying in plane_a or plane_b (numbers of oriented planes) or belonging to `owner` are passed over;
    -1 passes over nothing.  tree, ...: `Room.ray_arrays`.
    """
    places = addresses_of(tree, triangles, plane, owner_of)
    return nearest_but(places, p[0], p[1], p[2], d[0], d[1], d[2], t_min, t_max, plane_a, plane_b, owner)


@kernel
def blocker(p, q, plane_a, plane_b, owner, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Return the first triangle between points p and q, or -1 when they see each other."""
    places = addresses_of(tree, triangles, plane, owner_of)
    return first_between_at(places, p[0], p[1], p[2], q[0], q[1], q[2], plane_a, plane_b, owner)


@kernel
def is_hidden(p, q, plane_a, plane_b, owner, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Whether any triangle stands between points p and q: `blocker(...) >= 0`, sooner known."""
    places = addresses_of(tree, triangles, plane, owner_of)
    return is_hidden_at(places, p[0], p[1], p[2], q[0], q[1], q[2], plane_a, plane_b, owner)


@kernel
def inside_polygon(x, y, border):  # type: ignore[no-untyped-def]
    """Whether a point lies in the polygon with holes whose sides are border (b, 4): x0, y0, x1, y1; even-odd."""
    odd = False
    for i in range(border.shape[0]):
        x0, y0, x1, y1 = border[i, 0], border[i, 1], border[i, 2], border[i, 3]
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) * (x1 - x0) / (y1 - y0):
            odd = not odd
    return odd


@kernel
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


@kernel
def segment_distance(p, q, a, b):  # type: ignore[no-untyped-def]
    """Return the least distance between segments pq and ab.

    Ericson, Real-Time Collision Detection (2005), section 5.1.9.
    """
    ux, uy, uz = q[0] - p[0], q[1] - p[1], q[2] - p[2]
    vx, vy, vz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    wx, wy, wz = p[0] - a[0], p[1] - a[1], p[2] - a[2]
    uu, uv, vv = ux * ux + uy * uy + uz * uz, ux * vx + uy * vy + uz * vz, vx * vx + vy * vy + vz * vz
    uw, vw = ux * wx + uy * wy + uz * wz, vx * wx + vy * wy + vz * wz
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
    x, y, z = wx + s * ux - t * vx, wy + s * uy - t * vy, wz + s * uz - t * vz
    return math.sqrt(x * x + y * y + z * z)
