"""The outline of triangles that meet side to side, without a union of polygons: arrays in, arrays out."""

from __future__ import annotations

import math

import numpy as np

from sim.rays.kinds_of_kernels import kernel, part

GRID = 1.0e6
"""Steps in a metre of the grid on which corners lie (`unions.SNAP_M`)."""
CLEAR = 8.0
"""Steps that corners must stay away from each other and from sides that are not theirs."""
CORNER = 0.05
"""Sine of the least turn at a corner."""


@part
def turn_at(points, a, b, c):  # type: ignore[no-untyped-def]
    """Twice the area of the triangle of three corners, in steps, positive where b turns left."""
    return (points[b, 0] - points[a, 0]) * (points[c, 1] - points[b, 1]) - (points[b, 1] - points[a, 1]) * (
        points[c, 0] - points[b, 0]
    )


@part
def length_of(points, a, b):  # type: ignore[no-untyped-def]
    """Distance of two corners in steps."""
    return math.hypot(points[b, 0] - points[a, 0], points[b, 1] - points[a, 1])


@part
def sides_clear(points, sides):  # type: ignore[no-untyped-def]
    """Whether sides (n, 2) neither cross each other nor come near corners that are not theirs."""
    for i in range(sides.shape[0]):
        a, b = sides[i, 0], sides[i, 1]
        long = length_of(points, a, b)
        if long < CLEAR:
            return False
        ux, uy = (points[b, 0] - points[a, 0]) / long, (points[b, 1] - points[a, 1]) / long
        for j in range(sides.shape[0]):
            c, d = sides[j, 0], sides[j, 1]
            if c != a and c != b:
                x, y = points[c, 0] - points[a, 0], points[c, 1] - points[a, 1]
                along = x * ux + y * uy
                if abs(x * uy - y * ux) < CLEAR and -CLEAR < along < long + CLEAR:
                    return False
            if j > i and a != c and a != d and b != c and b != d:
                across = turn_at(points, a, b, c) * turn_at(points, a, b, d) < 0.0
                if across and turn_at(points, c, d, a) * turn_at(points, c, d, b) < 0.0:
                    return False
    return True


@part
def next_on(points, known, a, b):  # type: ignore[no-untyped-def]
    """The first of the known corners that lies on the side from a to b, past a: b itself where none does."""
    best, least = b, math.inf
    ux, uy = points[b, 0] - points[a, 0], points[b, 1] - points[a, 1]
    whole = ux * ux + uy * uy
    for k in range(known):
        x, y = points[k, 0] - points[a, 0], points[k, 1] - points[a, 1]
        along = x * ux + y * uy
        if 0.0 < along < min(least, whole) and x * uy == y * ux:
            best, least = k, along
    return best


@kernel
def outline_of(flat):  # type: ignore[no-untyped-def]
    """Sides of what triangles (n, 3, 2) cover together, and its area: what their union gives, its corners on the grid.

    Return (fits, sides (b, 4), area).  It fits where triangles meet side to side only, corners of others on a side
    counting as its own, in one piece, its holes apart from its outline and from each other; and each corner turns well
    or not at all.  The outline runs with the clock, holes against it, as the union's do.
    """
    count = 3 * flat.shape[0]
    nothing = np.zeros((0, 4))
    points, corner, known = np.empty((count, 2)), np.empty(count, np.int64), 0
    for n in range(count):
        x = math.floor(flat[n // 3, n % 3, 0] * GRID + 0.5)
        y = math.floor(flat[n // 3, n % 3, 1] * GRID + 0.5)
        corner[n] = known
        for k in range(known):
            if points[k, 0] == x and points[k, 1] == y:
                corner[n] = k
                break
        if corner[n] == known:
            points[known, 0], points[known, 1] = x, y
            known += 1
    ways, many = np.empty((2 * count, 2), np.int64), 0
    for n in range(count // 3):
        a, b, c = corner[3 * n], corner[3 * n + 1], corner[3 * n + 2]
        double = turn_at(points, a, b, c)
        if abs(double) < CLEAR * max(length_of(points, a, b), length_of(points, b, c), length_of(points, c, a)):
            return False, nothing, 0.0
        if double < 0.0:
            b, c = c, b
        for side in range(3):
            start, stop = (a if side == 0 else (b if side == 1 else c)), (b if side == 0 else (c if side == 1 else a))
            while start != stop:  # a side on which corners of others lie is cut there
                if many == ways.shape[0]:
                    return False, nothing, 0.0
                ways[many, 0], ways[many, 1] = start, next_on(points, known, start, stop)
                start = ways[many, 1]
                many += 1
    runs = np.ones(many, np.bool_)
    for i in range(many):
        for j in range(i):
            if ways[i, 0] == ways[j, 0] and ways[i, 1] == ways[j, 1]:
                return False, nothing, 0.0
            if ways[i, 0] == ways[j, 1] and ways[i, 1] == ways[j, 0]:
                runs[i] = runs[j] = False
    rim = ways[:many][np.flatnonzero(runs)]
    ahead = np.full(known, -1)
    for i in range(rim.shape[0]):
        if ahead[rim[i, 0]] >= 0:
            return False, nothing, 0.0
        ahead[rim[i, 0]] = rim[i, 1]
    if rim.shape[0] < 3 or not sides_clear(points, rim):
        return False, nothing, 0.0
    sides, area, b, outlines = np.empty((rim.shape[0], 4)), 0.0, 0, 0
    seen, turns = np.zeros(known, np.bool_), np.zeros(known, np.bool_)
    for i in range(rim.shape[0]):  # corners that only lie on a straight side are left out
        a, m = rim[i, 0], rim[i, 1]
        c = ahead[m]
        if c < 0:
            return False, nothing, 0.0
        double = turn_at(points, a, m, c)
        turns[m] = double != 0.0
        if turns[m] and abs(double) < CORNER * length_of(points, a, m) * length_of(points, m, c):
            return False, nothing, 0.0
    for i in range(rim.shape[0]):
        first = rim[i, 0]
        if seen[first] or not turns[first]:
            continue
        whole, here, begin = 0.0, first, b
        while True:
            seen[here] = True
            there = ahead[here]
            while not turns[there]:
                there = ahead[there]
            sides[b, 0], sides[b, 1] = points[there, 0] / GRID, points[there, 1] / GRID
            sides[b, 2], sides[b, 3] = points[here, 0] / GRID, points[here, 1] / GRID
            whole -= 0.5 * (sides[b, 0] * sides[b, 3] - sides[b, 2] * sides[b, 1])
            b += 1
            here = there
            if here == first:
                break
        sides[begin:b] = sides[begin:b][::-1].copy()  # each side begins where the one before it ends
        area += whole
        if whole > 0.0:
            outlines += 1
    return outlines == 1, sides[:b], area
