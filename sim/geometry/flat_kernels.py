"""Flat quadrilaterals and bare sides in closed form: arrays in, arrays out.

Facets come as in `sim.geometry.room.FacetArrays`: border and rim (b, 4) are sides from and to in the two directions of
each plane, `border_start` and `rim_start` (f + 1,) where those of each facet begin.
"""

from __future__ import annotations

import math

import numpy as np

from sim.arrays import FloatArray
from sim.rays.kinds_of_kernels import kernel, part, whole
from sim.rays.shape_kernels import distance_to_border, inside_polygon

SAME_PLANE_M = 1.0e-3
SAME_DIRECTION = math.cos(math.radians(0.1))
"""Facets whose planes agree so far lie in one plane."""
STEEP = 0.999
"""A surface whose normal is so near the vertical is level."""
SMALLEST_M2 = 1.0e-12
CORNER = 1.0e-3
"""Sine of the least turn at a corner: what turns less is left to the union of its triangles."""
SHORTEST_M = 1.0e-5
GRID = 1.0e6
"""Steps in a metre of the grid on which corners lie (`unions.SNAP_M`)."""
BARE_LINE_M = 1.0e-4


@part
def on_grid(x):  # type: ignore[no-untyped-def]
    """The nearest place of the grid."""
    return math.floor(x * GRID + 0.5) / GRID


@part
def fill_frame(nx, ny, nz, offset, frame):  # type: ignore[no-untyped-def]
    """Fill frame (3, 3) with origin and two directions, as `facets.plane_frame` does."""
    frame[0, 0], frame[0, 1], frame[0, 2] = nx * offset, ny * offset, nz * offset
    if abs(nz) > STEEP:
        x, y, z = 1.0 - nx * nx, -(nx * ny), -(nx * nz)
    else:
        x, y, z = -ny, nx, 0.0
    size = math.sqrt(x * x + y * y + z * z)
    x, y, z = x / size, y / size, z / size
    frame[1, 0], frame[1, 1], frame[1, 2] = x, y, z
    frame[2, 0], frame[2, 1], frame[2, 2] = ny * z - nz * y, nz * x - nx * z, nx * y - ny * x


@part
def along_frame(frame, axis, x, y, z):  # type: ignore[no-untyped-def]
    """Coordinate of a point along one direction of a frame (3, 3)."""
    a, b, c = x - frame[0, 0], y - frame[0, 1], z - frame[0, 2]
    return a * frame[axis, 0] + b * frame[axis, 1] + c * frame[axis, 2]


@part
def triangle_normal(triangle, normal):  # type: ignore[no-untyped-def]
    """Fill the unit normal (3,) of a triangle (3, 3); return its area."""
    ax, ay, az = (triangle[1, 0] - triangle[0, 0], triangle[1, 1] - triangle[0, 1], triangle[1, 2] - triangle[0, 2])
    bx, by, bz = (triangle[2, 0] - triangle[0, 0], triangle[2, 1] - triangle[0, 1], triangle[2, 2] - triangle[0, 2])
    normal[0], normal[1], normal[2] = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    double = math.sqrt(normal[0] * normal[0] + normal[1] * normal[1] + normal[2] * normal[2])
    for axis in range(3):
        normal[axis] = normal[axis] / max(double, 1.0e-300)
    return 0.5 * double


@kernel
def lay_quads(triangles):  # type: ignore[no-untyped-def]
    """Lay out quadrilaterals (q, 2, 3, 3), each the triangles a b c and a c d of its corners in order.

    Return (fits (q,), normal (q, 3), offset (q,), frame (q, 3, 3), sides (q, 4, 4), area (q,)): what the union of both
    triangles would give.  One that is not flat and convex, or has a corner that hardly turns, does not fit.
    """
    n = triangles.shape[0]
    fits = np.zeros(n, np.bool_)
    normal, offset, frame = np.zeros((n, 3)), np.zeros(n), np.zeros((n, 3, 3))
    sides, area = np.zeros((n, 4, 4)), np.zeros(n)
    one, two, flat = np.empty(3), np.empty(3), np.empty((4, 2))
    for q in range(n):
        first, second = triangles[q, 0], triangles[q, 1]
        alike = True
        for axis in range(3):
            alike = alike and first[0, axis] == second[0, axis] and first[2, axis] == second[1, axis]
        sizes = triangle_normal(first, one), triangle_normal(second, two)
        if not alike or min(sizes[0], sizes[1]) <= SMALLEST_M2:
            continue
        if one[0] * two[0] + one[1] * two[1] + one[2] * two[2] < SAME_DIRECTION:
            continue
        large, small, lead = (first, second, one) if sizes[0] >= sizes[1] else (second, first, two)
        middle, away = 0.0, 0.0
        for axis in range(3):
            middle += lead[axis] * (large[0, axis] + large[1, axis] + large[2, axis]) / 3.0
        for corner in range(3):
            height = lead[0] * small[corner, 0] + lead[1] * small[corner, 1] + lead[2] * small[corner, 2]
            away = max(away, abs(height - middle))
        if away > SAME_PLANE_M:
            continue
        x, y, z = (
            one[0] * sizes[0] + two[0] * sizes[1],
            one[1] * sizes[0] + two[1] * sizes[1],
            one[2] * sizes[0] + two[2] * sizes[1],
        )
        size = math.sqrt(x * x + y * y + z * z)
        x, y, z = x / size, y / size, z / size
        means = np.zeros(2)
        for number in range(2):
            for corner in range(3):
                p = triangles[q, number, corner]
                means[number] += p[0] * x + p[1] * y + p[2] * z
            means[number] = means[number] / 3.0
        normal[q, 0], normal[q, 1], normal[q, 2] = x, y, z
        offset[q] = (means[0] * sizes[0] + means[1] * sizes[1]) / (sizes[0] + sizes[1])
        fill_frame(x, y, z, offset[q], frame[q])
        for corner in range(4):
            p = first[corner] if corner < 3 else second[2]
            for axis in range(2):
                flat[corner, axis] = on_grid(along_frame(frame[q], axis + 1, p[0], p[1], p[2]))
        fits[q] = lay_ring(flat, sides[q])
        area[q] = ring_area(flat)
    return fits, normal, offset, frame, sides, area


def diagonal_first(triangles: FloatArray) -> FloatArray:
    """Pairs of triangles (q, 2, 3, 3) that share a side, as a b c and a c d; what shares none stays as it is."""
    first, second = triangles[:, 0], triangles[:, 1]
    same = (first[:, :, None] == second[:, None]).all(axis=3)
    # side i of the first runs to where side j of the second begins, and back
    shared = same[:, [1, 2, 0]] & same[:, :, [1, 2, 0]]
    shared[(same[:, 0, 0] & same[:, 2, 1])] = False  # they are so already
    i, j = np.divmod(shared.reshape(-1, 9).argmax(axis=1), 3)
    turned = shared.any(axis=(1, 2))
    rows, steps = np.arange(len(triangles))[:, None], np.arange(3)
    laid = np.stack([first[rows, (i[:, None] + 1 + steps) % 3], second[rows, (j[:, None] + steps) % 3]], axis=1)
    return np.where(turned[:, None, None, None], laid, triangles)


@part
def lay_ring(flat, sides):  # type: ignore[no-untyped-def]
    """Fill sides (4, 4) with those of a ring of corners (4, 2), clockwise from the first; False when not convex."""
    for corner in range(4):
        here, ahead, behind = flat[corner], flat[(corner + 1) % 4], flat[(corner + 3) % 4]
        ax, ay, bx, by = here[0] - behind[0], here[1] - behind[1], ahead[0] - here[0], ahead[1] - here[1]
        sizes = math.hypot(ax, ay), math.hypot(bx, by)
        if min(sizes[0], sizes[1]) <= SHORTEST_M or ax * by - ay * bx <= CORNER * sizes[0] * sizes[1]:
            return False
        after = flat[(7 - corner) % 4]
        first = flat[(8 - corner) % 4]
        sides[corner, 0], sides[corner, 1], sides[corner, 2], sides[corner, 3] = first[0], first[1], after[0], after[1]
    return True


@part
def ring_area(flat):  # type: ignore[no-untyped-def]
    """Area of a ring of corners (n, 2), by the sum over its sides."""
    total = 0.0
    for corner in range(flat.shape[0]):
        a, b = flat[corner], flat[(corner + 1) % flat.shape[0]]
        total += (a[0] - flat[0, 0]) * (b[1] - flat[0, 1]) - (b[0] - flat[0, 0]) * (a[1] - flat[0, 1])
    return 0.5 * abs(total)


# Bare sides: where an edge that sticks out runs along a rim and no other surface lies against it.


@part
def edge_at(x, y, z, f, ends, planes, plane):  # type: ignore[no-untyped-def]
    """Number of the edge nearest to a point among those beside the plane of facet f; -1 when none goes through it."""
    nearest, least = whole(-1), math.inf
    for e in range(ends.shape[0]):
        if planes[e, 0] != plane[f] and planes[e, 1] != plane[f]:
            continue
        ax, ay, az = ends[e, 1, 0] - ends[e, 0, 0], ends[e, 1, 1] - ends[e, 0, 1], ends[e, 1, 2] - ends[e, 0, 2]
        px, py, pz = x - ends[e, 0, 0], y - ends[e, 0, 1], z - ends[e, 0, 2]
        place = (px * ax + py * ay + pz * az) / max(ax * ax + ay * ay + az * az, 1e-30)
        place = min(1.0, max(0.0, place))
        px, py, pz = px - place * ax, py - place * ay, pz - place * az
        square = px * px + py * py + pz * pz
        if square < least:
            nearest, least = whole(e), square
    return nearest if least < BARE_LINE_M * BARE_LINE_M else whole(-1)


@part
def is_covered(x, y, z, beside, normal, offset, frame, border, border_start, touch_m):  # type: ignore[no-untyped-def]
    """Whether a facet other than the two `beside` (2,) lies against a point."""
    for f in range(offset.shape[0]):
        if f == beside[0] or f == beside[1]:
            continue
        if abs(normal[f, 0] * x + normal[f, 1] * y + normal[f, 2] * z - offset[f]) >= touch_m:
            continue
        u, v = along_frame(frame[f], 1, x, y, z), along_frame(frame[f], 2, x, y, z)
        sides = border[border_start[f] : border_start[f + 1]]
        if inside_polygon(u, v, sides) or distance_to_border(u, v, sides) < touch_m:
            return True
    return False


@kernel
def find_bare_sides(ends, pairs, planes, fractions, touch_m, facets):  # type: ignore[no-untyped-def]
    """Return (r,): whether each side of the rims is bare at more than half of the places `fractions` (n,) along it.

    ends (e, 2, 3), pairs (e, 2) and planes (e, 2): edges that stick out, the facets beside them and their planes;
    facets = (normal, offset, frame, plane, border, border_start, rim, rim_start).
    """
    normal, offset, frame, plane, border, border_start, rim, rim_start = facets
    bare = np.zeros(rim.shape[0], np.bool_)
    for f in range(offset.shape[0]):
        beside = False
        for e in range(ends.shape[0]):
            if planes[e, 0] == plane[f] or planes[e, 1] == plane[f]:
                beside = True
                break
        if not beside:
            continue
        for row in range(rim_start[f], rim_start[f + 1]):
            open_at = 0
            for place in fractions:
                u = rim[row, 0] + place * (rim[row, 2] - rim[row, 0])
                v = rim[row, 1] + place * (rim[row, 3] - rim[row, 1])
                x = frame[f, 0, 0] + u * frame[f, 1, 0] + v * frame[f, 2, 0]
                y = frame[f, 0, 1] + u * frame[f, 1, 1] + v * frame[f, 2, 1]
                z = frame[f, 0, 2] + u * frame[f, 1, 2] + v * frame[f, 2, 2]
                e = edge_at(x, y, z, f, ends, planes, plane)
                if e >= 0 and not is_covered(x, y, z, pairs[e], normal, offset, frame, border, border_start, touch_m):
                    open_at += 1
            bare[row] = open_at > fractions.shape[0] // 2
    return bare
