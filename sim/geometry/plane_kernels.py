"""Planes of many triangles and facets in near linear time: who lies in whose plane, and single triangles laid flat.

A plane belongs to the first that lies in it.  Whoever comes later looks for it among those whose normal and offset are
near its own, which a table of cells holds together; so it costs the same however many planes there are.
"""

from __future__ import annotations

import math

import numpy as np

from sim.geometry.flat_kernels import SAME_DIRECTION, SAME_PLANE_M, along_frame, fill_frame, on_grid, triangle_normal
from sim.rays.kinds_of_kernels import kernel, part, whole

TURN_CELL = 2.0e-3
"""Side of a cell of normals: components of two that look alike differ by less (2 sin 0.05 degrees)."""
SLACK = 1.001
SHARPEST = 0.045
"""Sine of the sharpest corner of a triangle that is laid flat here; sharper ones are left to the union."""
LOWEST_M = 2.0e-5
"""Least height of a triangle that is laid flat here."""
SMALLEST_M2 = 1.0e-12


@part
def mixed(a, b, c):  # type: ignore[no-untyped-def]
    """Three whole numbers as one that is hardly ever that of three others."""
    return (a * np.int64(73856093)) ^ (b * np.int64(19349663)) ^ (c * np.int64(83492791))


@part
def table_size(n):  # type: ignore[no-untyped-def]
    """A power of two, at least twice as large as n."""
    size = np.int64(16)
    while size < 2 * n:
        size *= 2
    return size


@kernel
def number_planes(normal, offset):  # type: ignore[no-untyped-def]
    """Number (f,) of the oriented plane of each facet: of the first one before it that looks and lies alike.

    Returned with it: how many facets were compared in all.
    """
    n = offset.shape[0]
    number, first, count = np.empty(n, np.int64), np.empty(n, np.int64), 0
    size = table_size(n)
    head, following = np.full(size, whole(-1)), np.empty(n, np.int64)
    offset_cell, compared = SLACK * SAME_PLANE_M, 0
    for f in range(n):
        a, b = np.int64(math.floor(normal[f, 0] / TURN_CELL)), np.int64(math.floor(normal[f, 1] / TURN_CELL))
        c = np.int64(math.floor(offset[f] / offset_cell))
        found = count
        for near in range(27):
            place = mixed(a + near % 3 - 1, b + (near // 3) % 3 - 1, c + near // 9 - 1) & (size - 1)
            p = head[place]
            while p >= 0:
                compared += 1
                if p < found:
                    g = first[p]
                    turn = normal[g, 0] * normal[f, 0] + normal[g, 1] * normal[f, 1] + normal[g, 2] * normal[f, 2]
                    if turn >= SAME_DIRECTION and abs(offset[g] - offset[f]) <= SAME_PLANE_M:
                        found = p
                p = following[p]
        number[f] = found
        if found == count:
            place = mixed(a, b, c) & (size - 1)
            first[count], following[count], head[place] = f, head[place], count
            count += 1
    return number, compared


@kernel
def split_planes(triangles, normal, order):  # type: ignore[no-untyped-def]
    """Number (n,) of the plane of each triangle: of the first leader that looks alike and whose plane holds it.

    triangles (n, 3, 3), normal (n, 3) their unit normals; order (n,): in which they come, large ones first.  One that
    finds no plane leads the next.  Returned with it: how many triangles were compared in all.
    """
    n = order.shape[0]
    number, first, level, count = np.empty(n, np.int64), np.empty(n, np.int64), np.empty(n), 0
    size = table_size(n)
    head, following = np.full(size, whole(-1)), np.empty(n, np.int64)
    low, high = np.full(3, math.inf), np.full(3, -math.inf)
    for f in range(n):
        for corner in range(3):
            for axis in range(3):
                low[axis] = min(low[axis], triangles[f, corner, axis])
                high[axis] = max(high[axis], triangles[f, corner, axis])
    reach = 0.0
    for axis in range(3):
        reach += 0.25 * (high[axis] - low[axis]) ** 2
    # offsets of two planes that are one for both differ by no more, seen from the middle
    offset_cell, compared = SLACK * (SAME_PLANE_M + TURN_CELL * math.sqrt(reach)), 0
    for place_in_order in range(n):
        f = order[place_in_order]
        own, centred = 0.0, 0.0
        for axis in range(3):
            mean = (triangles[f, 0, axis] + triangles[f, 1, axis] + triangles[f, 2, axis]) / 3.0
            own += normal[f, axis] * mean
            centred += normal[f, axis] * (mean - 0.5 * (low[axis] + high[axis]))
        a, b = np.int64(math.floor(normal[f, 0] / TURN_CELL)), np.int64(math.floor(normal[f, 1] / TURN_CELL))
        c = np.int64(math.floor(centred / offset_cell))
        found = count
        for near in range(27):
            place = mixed(a + near % 3 - 1, b + (near // 3) % 3 - 1, c + near // 9 - 1) & (size - 1)
            p = head[place]
            while p >= 0:
                compared += 1
                if p < found and holds(first[p], f, triangles, normal, level[p]):
                    found = p
                p = following[p]
        number[f] = found
        if found == count:
            place = mixed(a, b, c) & (size - 1)
            first[count], level[count], following[count], head[place] = f, own, head[place], count
            count += 1
    return number, compared


@part
def holds(g, f, triangles, normal, level):  # type: ignore[no-untyped-def]
    """Whether triangle f looks as g does and lies in its plane, normal[g] . x = level."""
    turn = normal[g, 0] * normal[f, 0] + normal[g, 1] * normal[f, 1] + normal[g, 2] * normal[f, 2]
    if turn < SAME_DIRECTION:
        return False
    for corner in range(3):
        p = triangles[f, corner]
        if abs(normal[g, 0] * p[0] + normal[g, 1] * p[1] + normal[g, 2] * p[2] - level) > SAME_PLANE_M:
            return False
    return True


@kernel
def lay_triangles(triangles):  # type: ignore[no-untyped-def]
    """Lay out single triangles (t, 3, 3).

    Return (fits (t,), normal (t, 3), offset (t,), frame (t, 3, 3), sides (t, 3, 4), area (t,)): what the union of one
    triangle would give.  One without area, or with a corner so sharp that the union would blunt it, does not fit.
    """
    n = triangles.shape[0]
    fits = np.zeros(n, np.bool_)
    normal, offset, frame = np.zeros((n, 3)), np.zeros(n), np.zeros((n, 3, 3))
    sides, area = np.zeros((n, 3, 4)), np.zeros(n)
    flat, one = np.empty((3, 2)), np.empty(3)
    for t in range(n):
        if triangle_normal(triangles[t], one) <= SMALLEST_M2:
            continue
        size = math.sqrt(one[0] * one[0] + one[1] * one[1] + one[2] * one[2])
        x, y, z = one[0] / size, one[1] / size, one[2] / size
        middle = 0.0
        for corner in range(3):
            p = triangles[t, corner]
            middle += (p[0] * x + p[1] * y + p[2] * z) / 3.0
        normal[t, 0], normal[t, 1], normal[t, 2], offset[t] = x, y, z, middle
        fill_frame(x, y, z, middle, frame[t])
        for corner in range(3):
            p = triangles[t, corner]
            for axis in range(2):
                flat[corner, axis] = on_grid(along_frame(frame[t], axis + 1, p[0], p[1], p[2]))
        double = (flat[1, 0] - flat[0, 0]) * (flat[2, 1] - flat[0, 1])
        double -= (flat[2, 0] - flat[0, 0]) * (flat[1, 1] - flat[0, 1])
        area[t] = 0.5 * abs(double)
        fits[t] = True
        for corner in range(3):
            here, ahead, behind = flat[corner], flat[(corner + 1) % 3], flat[(corner + 2) % 3]
            sizes = (
                math.hypot(ahead[0] - here[0], ahead[1] - here[1]),
                math.hypot(behind[0] - here[0], behind[1] - here[1]),
            )
            if abs(double) <= max(SHARPEST * sizes[0] * sizes[1], LOWEST_M * sizes[0]):
                fits[t] = False
            after = flat[(4 - corner) % 3]
            start = flat[2 - corner]
            sides[t, corner, 0], sides[t, corner, 1], sides[t, corner, 2], sides[t, corner, 3] = (
                start[0],
                start[1],
                after[0],
                after[1],
            )
    return fits, normal, offset, frame, sides, area
