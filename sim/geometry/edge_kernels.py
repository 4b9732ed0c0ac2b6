"""Edges of bodies: where sides of two facets of one body lie on one line, and the angle of the air between them.

Facets come as in `sim.geometry.room.FacetArrays`: border (b, 4) are sides from and to in the two directions of each
plane, `border_start` (f + 1,) where those of each facet begin.
"""

from __future__ import annotations

import math

import numpy as np

from sim.geometry.flat_kernels import along_frame
from sim.rays.kinds_of_kernels import kernel, part
from sim.rays.shape_kernels import inside_polygon

ON_LINE_M = 2.0e-5
"""Sides nearer to one straight line than this, over more than ten times as much, share an edge."""
CLOSED_RAD = 1.0e-6
INTO_M = 1.0e-4


@part
def shared_stretch(a, b, c, d, ends):  # type: ignore[no-untyped-def]
    """Fill ends (2, 3) with the stretch that segments ab and cd have in common; False unless they lie on one line."""
    x, y, z = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    length = math.sqrt(x * x + y * y + z * z)
    if length <= 10.0 * ON_LINE_M:
        return False
    x, y, z = x / length, y / length, z / length
    low, high = math.inf, -math.inf
    for end in range(2):
        p = c if end == 0 else d
        px, py, pz = p[0] - a[0], p[1] - a[1], p[2] - a[2]
        place = px * x + py * y + pz * z
        px, py, pz = px - place * x, py - place * y, pz - place * z
        if px * px + py * py + pz * pz > ON_LINE_M * ON_LINE_M:
            return False
        low, high = min(low, place), max(high, place)
    low, high = max(0.0, low), min(length, high)
    if high - low <= 10.0 * ON_LINE_M:
        return False
    ends[0, 0], ends[0, 1], ends[0, 2] = a[0] + low * x, a[1] + low * y, a[2] + low * z
    ends[1, 0], ends[1, 1], ends[1, 2] = a[0] + high * x, a[1] + high * y, a[2] + high * z
    return True


@part
def into_facet(normal, frame, sides, ends, x, y, z, into):  # type: ignore[no-untyped-def]
    """Fill into (3,) with the unit vector in a facet's plane, square to an edge along (x, y, z), toward the facet."""
    into[0], into[1], into[2] = (
        normal[1] * z - normal[2] * y,
        normal[2] * x - normal[0] * z,
        normal[0] * y - normal[1] * x,
    )
    px = 0.5 * (ends[0, 0] + ends[1, 0]) + INTO_M * into[0]
    py = 0.5 * (ends[0, 1] + ends[1, 1]) + INTO_M * into[1]
    pz = 0.5 * (ends[0, 2] + ends[1, 2]) + INTO_M * into[2]
    if not inside_polygon(along_frame(frame, 1, px, py, pz), along_frame(frame, 2, px, py, pz), sides):
        into[0], into[1], into[2] = -into[0], -into[1], -into[2]


@part
def air_between(normals, into):  # type: ignore[no-untyped-def]
    """Angle of air in radians from one facet through the air before it to another (normals, into (2, 3))."""
    rise = into[1, 0] * normals[0, 0] + into[1, 1] * normals[0, 1] + into[1, 2] * normals[0, 2]
    run = into[1, 0] * into[0, 0] + into[1, 1] * into[0, 1] + into[1, 2] * into[0, 2]
    angle = math.atan2(rise, run) % (2.0 * math.pi)
    return angle if angle > CLOSED_RAD else 2.0 * math.pi  # back to back, the two sides of a sheet


@part
def edge_between(i, j, side, facet, corners, normal, frame, border, border_start, row):  # type: ignore[no-untyped-def]
    """Fill row (11,) with the edge of sides i and j: ends, facets, sides, angle; False where they share none."""
    shared = row[:6].reshape(2, 3)
    if not shared_stretch(corners[i, 0], corners[i, 1], corners[j, 0], corners[j, 1], shared):
        return False
    into, normals = np.empty((2, 3)), np.empty((2, 3))
    x, y, z = shared[1, 0] - shared[0, 0], shared[1, 1] - shared[0, 1], shared[1, 2] - shared[0, 2]
    length = math.sqrt(x * x + y * y + z * z)
    x, y, z = x / length, y / length, z / length
    for number in range(2):
        h = facet[i] if number == 0 else facet[j]
        own = border[border_start[h] : border_start[h + 1]]
        into_facet(normal[h], frame[h], own, shared, x, y, z, into[number])
        for axis in range(3):
            normals[number, axis] = normal[h, axis]
    row[6], row[7], row[8], row[9] = facet[i], facet[j], side[i], side[j]
    row[10] = air_between(normals, into)
    return True


@part
def is_off_line(a, x, y, z, p):  # type: ignore[no-untyped-def]
    """Whether a point lies beside the line through a along a unit vector by too much to be on it."""
    px, py, pz = p[0] - a[0], p[1] - a[1], p[2] - a[2]
    place = px * x + py * y + pz * z
    px, py, pz = px - place * x, py - place * y, pz - place * z
    return px * px + py * py + pz * pz > ON_LINE_M * ON_LINE_M


@part
def side_corners(side, facet, frame, border):  # type: ignore[no-untyped-def]
    """Both ends (s, 2, 3) of each side in the room."""
    s = side.shape[0]
    corners = np.empty((s, 2, 3))
    for i in range(s):
        row, axes = border[side[i]], frame[facet[i]]
        for end in range(2):
            for axis in range(3):
                across = row[2 * end] * axes[1, axis] + row[2 * end + 1] * axes[2, axis]
                corners[i, end, axis] = axes[0, axis] + across
    return corners


@part
def longer(rows):  # type: ignore[no-untyped-def]
    """The same rows (n, 11), and as many empty ones behind them."""
    wider = np.empty((2 * rows.shape[0], 11))
    for row in range(rows.shape[0]):
        for column in range(11):
            wider[row, column] = rows[row, column]
    return wider


@part
def in_columns(found, count):  # type: ignore[no-untyped-def]
    """Edges found, as ends (e, 2, 3), facets (e, 2), sides (e, 2) and angles (e,)."""
    ends, pairs = np.empty((count, 2, 3)), np.empty((count, 2), np.int64)
    sides, angles = np.empty((count, 2), np.int64), np.empty(count)
    for row in range(count):
        for end in range(2):
            for axis in range(3):
                ends[row, end, axis] = found[row, 3 * end + axis]
            pairs[row, end], sides[row, end] = int(found[row, 6 + end]), int(found[row, 8 + end])
        angles[row] = found[row, 10]
    return ends, pairs, sides, angles


@kernel
def find_edges(side, facet, body, plane, normal, frame, border, border_start):  # type: ignore[no-untyped-def]
    """Return (ends (e, 2, 3), facets (e, 2), sides (e, 2), angles (e,)) of the edges of some bodies.

    side (s,) and facet (s,): number of each side in `border` and of its facet; body (s,): only sides of one body meet.
    Every pair is looked at: for bodies of some hundred sides that is quicker than to look for neighbours.
    """
    s = side.shape[0]
    corners, found, count = side_corners(side, facet, frame, border), np.empty((2 * s + 16, 11)), 0
    for i in range(s):
        a, b = corners[i, 0], corners[i, 1]
        x, y, z = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        length = math.sqrt(x * x + y * y + z * z)
        if length <= 10.0 * ON_LINE_M:
            continue
        x, y, z = x / length, y / length, z / length
        for j in range(i + 1, s):
            if body[i] != body[j] or plane[facet[i]] == plane[facet[j]]:
                continue
            if is_off_line(a, x, y, z, corners[j, 0]):  # as nearly all pairs are
                continue
            if count == found.shape[0]:
                found = longer(found)
            if edge_between(i, j, side, facet, corners, normal, frame, border, border_start, found[count]):
                count += 1
    return in_columns(found, count)


@kernel
def edges_of_pairs(pairs, side, facet, plane, normal, frame, border, border_start):  # type: ignore[no-untyped-def]
    """The same as `find_edges` where only some pairs (n, 2) of sides can share an edge, for bodies of many sides."""
    corners, found, count = side_corners(side, facet, frame, border), np.empty((2 * side.shape[0] + 16, 11)), 0
    for pair in range(pairs.shape[0]):
        i, j = pairs[pair, 0], pairs[pair, 1]
        if plane[facet[i]] == plane[facet[j]]:
            continue
        if count == found.shape[0]:
            found = longer(found)
        if edge_between(i, j, side, facet, corners, normal, frame, border, border_start, found[count]):
            count += 1
    return in_columns(found, count)
