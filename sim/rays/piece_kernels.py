"""Triangles and parallelograms one by one, as a tree takes them: arrays in, arrays out.

Which sides have the same ends, how large a piece is, what box it fills, and the affine functions of `wide_tree`.
"""

from __future__ import annotations

import math

import numpy as np

from sim.rays.kinds_of_kernels import inlined, kernel

SPREADING, SIDES = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBF58476D1CE4E5B9)
SHIFT = np.uint64(29)
NO_LABEL = -3.0
"""Plane and owner of surfaces of which nobody told any: no ray passes over them."""


@kernel
def side_keys(bits):  # type: ignore[no-untyped-def]
    """Keys (3 n,) of the sides of triangles whose corners have these bits (n, 3, 3), uint64.

    Key 3 i + c is that of the side opposite corner c, the same for equal ends in either order, another for nearly all
    others.
    """
    n = bits.shape[0]
    keys, mixed = np.empty(3 * n, np.uint64), np.empty(3, np.uint64)
    for i in range(n):
        for corner in range(3):
            value = np.uint64(0)
            for axis in range(3):
                value = (value ^ bits[i, corner, axis]) * SPREADING
                value ^= value >> SHIFT
            mixed[corner] = value
        for corner in range(3):
            one, other = mixed[(corner + 1) % 3], mixed[(corner + 2) % 3]
            keys[3 * i + corner] = min(one, other) * SIDES + max(one, other)
    return keys


@kernel
def first_come_first(keys, order):  # type: ignore[no-untyped-def]
    """Put numbers of equal keys in order (n,), which sorts the keys already, into their own order."""
    for i in range(1, order.shape[0]):
        k, number = i, order[i]
        while k > 0 and keys[order[k - 1]] == keys[number] and order[k - 1] > number:
            order[k] = order[k - 1]
            k -= 1
        order[k] = number


@inlined
def size_of_turn(a, b, c):  # type: ignore[no-untyped-def]
    """Twice the area of a triangle of three corners (3,)."""
    x = (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1])
    y = (b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2])
    z = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return math.sqrt(x * x + y * y + z * z)


@kernel
def pieces_of(corners, partner, apex):  # type: ignore[no-untyped-def]
    """Corner and two neighbours (m, 3, 3) of each triangle or parallelogram, and two triangle numbers (m, 2).

    partner, apex: (n,) as of `pair_up`.  Triangles without any area are left out.
    """
    n, m = corners.shape[0], 0
    pieces, numbers = np.empty((n, 3, 3)), np.empty((n, 2), np.int64)
    for i in range(n):
        if (partner[i] >= 0 and partner[i] < i) or not size_of_turn(corners[i, 0], corners[i, 1], corners[i, 2]) > 0.0:
            continue
        turn = max(apex[i], 0)
        for k in range(3):
            for axis in range(3):
                pieces[m, k, axis] = corners[i, (turn + k) % 3, axis]
        numbers[m, 0], numbers[m, 1] = i, partner[i] if partner[i] >= 0 else i
        m += 1
    return pieces[:m].copy(), numbers[:m].copy()


@kernel
def fill_leaves(leaves, rows, numbers, labels, members):  # type: ignore[no-untyped-def]
    """Fill leaves (l, 18, 8) with rows (m, 15), triangle numbers (m, 2) and labels (n, 2) of their members (l, 8).

    The row of triangle numbers is filled by the caller; empty places are what nothing can meet.
    """
    for leaf in range(members.shape[0]):
        for lane in range(8):
            piece = members[leaf, lane]
            for row in range(15):
                if piece >= 0:
                    leaves[leaf, row, lane] = rows[piece, row]
                else:
                    leaves[leaf, row, lane] = -np.inf if row == 12 or row == 13 else 0.0
            for kind in range(2):
                leaves[leaf, 16 + kind, lane] = labels[numbers[piece, 0], kind] if piece >= 0 else NO_LABEL


@kernel
def boxes_of(pieces, numbers):  # type: ignore[no-untyped-def]
    """Low and high corner (m, 6) of each piece (m, 3, 3), and its area (m,).

    A piece of two different triangle numbers (m, 2) is a parallelogram, whose fourth corner is counted.
    """
    m = pieces.shape[0]
    boxes, areas = np.empty((m, 6)), np.empty(m)
    for i in range(m):
        single = numbers[i, 0] == numbers[i, 1]
        for axis in range(3):
            a, b, c = pieces[i, 0, axis], pieces[i, 1, axis], pieces[i, 2, axis]
            fourth = a if single else b + c - a
            boxes[i, axis] = min(min(a, b), min(c, fourth))
            boxes[i, 3 + axis] = max(max(a, b), max(c, fourth))
        areas[i] = size_of_turn(pieces[i, 0], pieces[i, 1], pieces[i, 2]) * (0.5 if single else 1.0)
    return boxes, areas


@inlined
def off(rows, i, start, place, value):  # type: ignore[no-untyped-def]
    """How far one of the functions of surface i is from a value at a place (3,)."""
    total = rows[i, start] * place[0] + rows[i, start + 1] * place[1] + rows[i, start + 2] * place[2]
    return abs(total + rows[i, start + 3] - value)


@kernel
def surface_rows(pieces, numbers, extent_m, rounding, least_slack):  # type: ignore[no-untyped-def]
    """Fifteen numbers (m, 15) of each surface, as `WideTree.leaves` describes them.

    How far the functions are from their values at the corners, the rounding of slivers, is measured and not bounded.
    """
    m = pieces.shape[0]
    rows, one, two, normal = np.empty((m, 15)), np.empty(3), np.empty(3), np.empty(3)
    for i in range(m):
        a, b, c = pieces[i, 0], pieces[i, 1], pieces[i, 2]
        for axis in range(3):
            one[axis], two[axis] = b[axis] - a[axis], c[axis] - a[axis]
        square = 0.0
        for axis in range(3):
            p, q = (axis + 1) % 3, (axis + 2) % 3
            normal[axis] = one[p] * two[q] - one[q] * two[p]
            square += normal[axis] * normal[axis]
        steep_across, steep_up, length = 0.0, 0.0, math.sqrt(square)
        for axis in range(3):
            p, q = (axis + 1) % 3, (axis + 2) % 3
            across = 2.0 * (two[p] * normal[q] - two[q] * normal[p]) / square
            up = 2.0 * (normal[p] * one[q] - normal[q] * one[p]) / square
            rows[i, axis], rows[i, 4 + axis], rows[i, 8 + axis] = normal[axis] / length, across, up
            steep_across += across * across
            steep_up += up * up
        for start in range(0, 12, 4):
            at = rows[i, start] * a[0] + rows[i, start + 1] * a[1] + rows[i, start + 2] * a[2]
            rows[i, start + 3] = (0.0 if start == 0 else -1.0) - at
        off_plane = max(off(rows, i, 0, a, 0.0), max(off(rows, i, 0, b, 0.0), off(rows, i, 0, c, 0.0)))
        off_plane += 8.0 * rounding * extent_m
        off_border = max(off(rows, i, 4, a, -1.0), off(rows, i, 8, a, -1.0))
        off_border = max(off_border, max(off(rows, i, 4, b, 1.0), off(rows, i, 8, b, -1.0)))
        off_border = max(off_border, max(off(rows, i, 4, c, -1.0), off(rows, i, 8, c, 1.0)))
        steepest = math.sqrt(max(steep_across, steep_up))
        slack = least_slack + 4.0 * off_border + 16.0 * rounding * extent_m * steepest
        rows[i, 12] = 1.0 + slack
        rows[i, 13] = 2.0 * slack if numbers[i, 0] == numbers[i, 1] else np.inf
        rows[i, 14] = 4.0 * off_plane * steepest
    return rows
