"""Convex solids of eight corners against points, segments and each other: arrays in, arrays out.

Corners 0 to 3 go round one face, 4 to 7 round the opposite one, 4 next to 0 (`sim.placement.solids`).
"""

from __future__ import annotations

import math

import numpy as np

from sim.rays.kinds_of_kernels import kernel, part, whole
from sim.rays.shape_kernels import blocker, nearest_hit, segment_distance, triangle_hit

QUADS = np.array([[0, 1, 2, 3], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]])
SIDES = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [4, 5], [5, 6], [6, 7], [7, 4], [0, 4], [1, 5], [2, 6], [3, 7]])
OUTWARD = np.array([[0, 1, 2, 3], [5, 4, 7, 6], [3, 2, 6, 7], [4, 5, 1, 0], [4, 0, 3, 7], [1, 5, 6, 2]])
"""The same faces, corners in the order in which they are cut into triangles."""
SIGNS = np.array(
    [[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1], [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]],
    dtype=np.float64,
)
"""On which side of the middle each corner is."""
PARALLEL = 1.0e-9
MOST_DRAWN_IN = 0.4
"""Share of its size by which a thin solid is drawn in from each side at most."""


@kernel
def solid_faces(solid):  # type: ignore[no-untyped-def]
    """Outward unit normals (n, 3) and offsets (n,) of the faces of a solid (8, 3); sides of no length are left out."""
    normals, offsets, count = np.empty((6, 3)), np.empty(6), 0
    middle = np.zeros(3)
    for axis in range(3):
        for corner in range(8):
            middle[axis] += solid[corner, axis]
        middle[axis] = middle[axis] / 8.0
    for face in range(6):
        a, b, c, d = QUADS[face, 0], QUADS[face, 1], QUADS[face, 2], QUADS[face, 3]
        ux, uy, uz = solid[c, 0] - solid[a, 0], solid[c, 1] - solid[a, 1], solid[c, 2] - solid[a, 2]
        vx, vy, vz = solid[d, 0] - solid[b, 0], solid[d, 1] - solid[b, 1], solid[d, 2] - solid[b, 2]
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        size = math.sqrt(x * x + y * y + z * z)
        if size <= 0.0:
            continue
        x, y, z = x / size, y / size, z / size
        px = (solid[a, 0] + solid[b, 0] + solid[c, 0] + solid[d, 0]) / 4.0
        py = (solid[a, 1] + solid[b, 1] + solid[c, 1] + solid[d, 1]) / 4.0
        pz = (solid[a, 2] + solid[b, 2] + solid[c, 2] + solid[d, 2]) / 4.0
        if (px - middle[0]) * x + (py - middle[1]) * y + (pz - middle[2]) * z < 0.0:
            x, y, z = -x, -y, -z
        normals[count, 0], normals[count, 1], normals[count, 2] = x, y, z
        offsets[count] = px * x + py * y + pz * z
        count += 1
    return normals[:count], offsets[:count]


@kernel
def depths_inside(solid, points):  # type: ignore[no-untyped-def]
    """How deep (n,) points (n, 3) lie below the nearest face of a solid (8, 3); negative outside."""
    normals, offsets = solid_faces(solid)
    depth = np.full(points.shape[0], math.inf)
    for n in range(points.shape[0]):
        for face in range(offsets.shape[0]):
            along = points[n, 0] * normals[face, 0] + points[n, 1] * normals[face, 1] + points[n, 2] * normals[face, 2]
            depth[n] = min(depth[n], offsets[face] - along)
    return depth


@part
def overlap_along(one, other, x, y, z):  # type: ignore[no-untyped-def]
    """How far the shadows of two solids (8, 3) on a unit direction overlap; negative where they are apart."""
    low, high, least, most = math.inf, -math.inf, math.inf, -math.inf
    for corner in range(8):
        place = one[corner, 0] * x + one[corner, 1] * y + one[corner, 2] * z
        low, high = min(low, place), max(high, place)
        place = other[corner, 0] * x + other[corner, 1] * y + other[corner, 2] * z
        least, most = min(least, place), max(most, place)
    return min(high - least, most - low)


@part
def depth_shared(one, other):  # type: ignore[no-untyped-def]
    """How far one solid (8, 3) would have to move to leave another, by separating axes; zero or less where apart."""
    apart = math.inf
    for axis in range(3):
        low, high, least, most = math.inf, -math.inf, math.inf, -math.inf
        for corner in range(8):
            low, high = min(low, one[corner, axis]), max(high, one[corner, axis])
            least, most = min(least, other[corner, axis]), max(most, other[corner, axis])
        apart = min(apart, min(high, most) - max(low, least))
    if apart <= 0.0:
        return apart
    gap = math.inf
    for number in range(2):
        normals, _ = solid_faces(one if number == 0 else other)
        for face in range(normals.shape[0]):
            gap = min(gap, overlap_along(one, other, normals[face, 0], normals[face, 1], normals[face, 2]))
    for i in range(12):
        a, b = SIDES[i, 0], SIDES[i, 1]
        ux, uy, uz = one[b, 0] - one[a, 0], one[b, 1] - one[a, 1], one[b, 2] - one[a, 2]
        for j in range(12):
            c, d = SIDES[j, 0], SIDES[j, 1]
            vx, vy, vz = other[d, 0] - other[c, 0], other[d, 1] - other[c, 1], other[d, 2] - other[c, 2]
            x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
            size = math.sqrt(x * x + y * y + z * z)
            if size > PARALLEL:
                gap = min(gap, overlap_along(one, other, x / size, y / size, z / size))
    return gap


@part
def boxes_share(one, other, touch_m):  # type: ignore[no-untyped-def]
    """Whether two slanted boxes (8, 3) overlap by more than `touch_m` in every direction that could part them."""
    sides, axes, count = np.empty((2, 3, 3)), np.empty((15, 3)), 0
    for axis in range(3):
        for side in range(3):
            corner = 1 if side == 0 else 3 if side == 1 else 4
            sides[0, side, axis] = one[corner, axis] - one[0, axis]
            sides[1, side, axis] = other[corner, axis] - other[0, axis]
    for number in range(15):
        if number < 6:
            a, b = sides[number // 3, number % 3], sides[number // 3, (number + 1) % 3]
        else:
            a, b = sides[0, (number - 6) // 3], sides[1, (number - 6) % 3]
        x, y, z = a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]
        size = math.sqrt(x * x + y * y + z * z)
        if size >= PARALLEL:
            axes[count, 0], axes[count, 1], axes[count, 2] = x / size, y / size, z / size
            count += 1
    for number in range(count):
        x, y, z = axes[number, 0], axes[number, 1], axes[number, 2]
        low, high, least, most = math.inf, -math.inf, math.inf, -math.inf
        for corner in range(8):
            place = one[corner, 0] * x + one[corner, 1] * y + one[corner, 2] * z
            low, high = min(low, place), max(high, place)
            place = other[corner, 0] * x + other[corner, 1] * y + other[corner, 2] * z
            least, most = min(least, place), max(most, place)
        if min(high, most) - max(low, least) <= touch_m:
            return False
    return True


@kernel
def boxes_sharing(many, others, touch_m):  # type: ignore[no-untyped-def]
    """`boxes_share` (m, n) of each of some boxes (m, 8, 3) with each of some others (n, 8, 3)."""
    found = np.empty((many.shape[0], others.shape[0]), np.bool_)
    for i in range(many.shape[0]):
        for j in range(others.shape[0]):
            found[i, j] = boxes_share(many[i], others[j], touch_m)
    return found


@kernel
def pass_through(solid, ends):  # type: ignore[no-untyped-def]
    """Whether segments (n, 2, 3) have a stretch inside a solid (8, 3): each cut by all faces in turn."""
    normals, offsets = solid_faces(solid)
    found = np.empty(ends.shape[0], np.bool_)
    for n in range(ends.shape[0]):
        enter, leave, beside = 0.0, 1.0, False
        for face in range(offsets.shape[0]):
            begin, way = offsets[face], 0.0
            for axis in range(3):
                begin -= ends[n, 0, axis] * normals[face, axis]
                way += (ends[n, 1, axis] - ends[n, 0, axis]) * normals[face, axis]
            if way < 0.0:
                enter = max(enter, begin / way)
            elif way > 0.0:
                leave = min(leave, begin / way)
            elif begin <= 0.0:
                beside = True
        found[n] = leave > enter and not beside
    return found


@kernel
def are_enclosed(points, triangles):  # type: ignore[no-untyped-def]
    """Whether points (n, 3) lie within a closed surface (t, 3, 3), by the solid angle it takes up from each.

    Van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125-126: 4 pi from within, 0 from outside.
    """
    found = np.empty(points.shape[0], np.bool_)
    for n in range(points.shape[0]):
        x, y, z, total = points[n, 0], points[n, 1], points[n, 2], 0.0
        for t in range(triangles.shape[0]):
            ax, ay, az = triangles[t, 0, 0] - x, triangles[t, 0, 1] - y, triangles[t, 0, 2] - z
            bx, by, bz = triangles[t, 1, 0] - x, triangles[t, 1, 1] - y, triangles[t, 1, 2] - z
            cx, cy, cz = triangles[t, 2, 0] - x, triangles[t, 2, 1] - y, triangles[t, 2, 2] - z
            a = math.sqrt(ax * ax + ay * ay + az * az)
            b = math.sqrt(bx * bx + by * by + bz * bz)
            c = math.sqrt(cx * cx + cy * cy + cz * cz)
            triple = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
            below = a * b * c + (ax * bx + ay * by + az * bz) * c
            below += (bx * cx + by * cy + bz * cz) * a + (cx * ax + cy * ay + cz * az) * b
            total += 2.0 * math.atan2(triple, below)
        found[n] = abs(total) > 2.0 * math.pi
    return found


@kernel
def nearest_segment(p, q, segments):  # type: ignore[no-untyped-def]
    """Return (distance, number) of the nearest of segments (e, 2, 3) to the segment pq; (inf, -1) of none."""
    nearest, number = math.inf, whole(-1)
    for e in range(segments.shape[0]):
        away = segment_distance(p, q, segments[e, 0], segments[e, 1])
        if away < nearest:
            nearest, number = away, whole(e)
    return nearest, number


@kernel
def side_met(corners, owner, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """First triangle between the two ends of any side of a solid (8, 3), those of a body left out, or -1.

    tree, ...: `Room.ray_arrays`.
    """
    nothing = whole(-1)
    for side in range(SIDES.shape[0]):
        start, stop = corners[SIDES[side, 0]], corners[SIDES[side, 1]]
        found = blocker(start, stop, nothing, nothing, owner, tree, triangles, plane, owner_of)
        if found >= 0:
            return found
    return nothing


@kernel
def first_holding(solids, points, deeper_m):  # type: ignore[no-untyped-def]
    """Number (n,) of the first of solids (s, 8, 3) in which each point (n, 3) lies deeper than that, or -1."""
    found = np.empty(points.shape[0], np.int64)
    for n in range(points.shape[0]):
        found[n] = whole(-1)
    for s in range(solids.shape[0]):
        depth = depths_inside(solids[s], points)
        for n in range(points.shape[0]):
            if found[n] < 0 and depth[n] > deeper_m:
                found[n] = whole(s)
    return found


@kernel
def depths_shared(one, others):  # type: ignore[no-untyped-def]
    """`depth_shared` (s,) of one solid (8, 3) with each of some others (s, 8, 3)."""
    depth = np.empty(others.shape[0])
    for s in range(others.shape[0]):
        depth[s] = depth_shared(one, others[s])
    return depth


@kernel
def looks_met(points, looks, owner, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """First triangle (n, l) that each look (l, 3) from each point (n, 3) meets, those of a body left out, or -1.

    tree, ...: `Room.ray_arrays`.
    """
    nothing, far = whole(-1), math.inf
    met = np.empty((points.shape[0], looks.shape[0]), np.int64)
    for n in range(points.shape[0]):
        for look in range(looks.shape[0]):
            _, found = nearest_hit(
                points[n], looks[look], 1e-9, far, nothing, nothing, owner, tree, triangles, plane, owner_of
            )
            met[n, look] = found
    return met


@kernel
def edge_met(corners, play_m, ends, body, owner):  # type: ignore[no-untyped-def]
    """First of edges (e, 2, 3), those of a body (e,) left out, that goes through a face of a solid (8, 3), or -1."""
    low, high, triangles = np.empty(3), np.empty(3), np.empty((12, 3, 3))
    for axis in range(3):
        low[axis], high[axis] = math.inf, -math.inf
        for corner in range(8):
            low[axis], high[axis] = min(low[axis], corners[corner, axis]), max(high[axis], corners[corner, axis])
        low[axis], high[axis] = low[axis] - play_m, high[axis] + play_m
        for face in range(6):
            for corner in range(3):
                triangles[face, corner, axis] = corners[OUTWARD[face, corner], axis]
                triangles[face + 6, corner, axis] = corners[OUTWARD[face, corner + 1 if corner > 0 else 0], axis]
    for e in range(ends.shape[0]):
        apart = body[e] == owner
        for axis in range(3):
            least, most = min(ends[e, 0, axis], ends[e, 1, axis]), max(ends[e, 0, axis], ends[e, 1, axis])
            apart = apart or least > high[axis] or most < low[axis]
        if apart:
            continue
        x, y, z = ends[e, 0, 0], ends[e, 0, 1], ends[e, 0, 2]
        dx, dy, dz = ends[e, 1, 0] - x, ends[e, 1, 1] - y, ends[e, 1, 2] - z
        for number in range(12):
            if 0.0 < triangle_hit(x, y, z, dx, dy, dz, triangles[number]) < 1.0:
                return whole(e)
    return whole(-1)


@kernel
def move_off_planes(points, normal, offset, body, own, height_m):  # type: ignore[no-untyped-def]
    """Move points (n, 3) nearer to the plane of a face than that out to that height.

    Faces (f,) of the room, which is body 0, and of the body `own` do not count.
    """
    near = np.empty(offset.shape[0], np.bool_)
    for n in range(points.shape[0]):
        for turn in range(2):
            for f in range(offset.shape[0]):
                if body[f] == 0 or body[f] == own or (turn == 1 and not near[f]):
                    continue
                height = normal[f, 0] * points[n, 0] + normal[f, 1] * points[n, 1] + normal[f, 2] * points[n, 2]
                height = height - offset[f]
                if turn == 0:
                    near[f] = abs(height) < height_m
                elif abs(height) < 0.999 * height_m:  # another face of the same plane may have moved it already
                    for axis in range(3):
                        points[n, axis] += (height_m - height) * normal[f, axis]


@kernel
def draw_in(solid, by_m):  # type: ignore[no-untyped-def]
    """The same solid (8, 3), every face moved inward by that, or by 2/5 of its size where it is thin."""
    share, drawn = np.empty(3), np.zeros((8, 3))
    for way in range(3):  # along the first ring, across it, and from ring to ring
        size = 0.0
        for number in range(4):
            side = 2 * number + way if way < 2 else 8 + number
            a, b = SIDES[side, 0], SIDES[side, 1]
            x, y, z = solid[b, 0] - solid[a, 0], solid[b, 1] - solid[a, 1], solid[b, 2] - solid[a, 2]
            size += 0.25 * math.sqrt(x * x + y * y + z * z)
        share[way] = 1.0 - 2.0 * min(by_m / max(size, PARALLEL), MOST_DRAWN_IN)
    for corner in range(8):
        for other in range(8):
            weight = 0.125
            for way in range(3):
                weight *= 1.0 + share[way] * SIGNS[corner, way] * SIGNS[other, way]
            for axis in range(3):
                drawn[corner, axis] += weight * solid[other, axis]
    return drawn
