"""Beams: images of one point, and for each the half-spaces outside which it is of no use; cones through a sheet.

All of this errs toward inside.  Sheets and blocks as `aperture_kernels.lay_sheets` gives them, planes (q, 4) as
n . p + d > 0 within.
"""

from __future__ import annotations

import numpy as np

from sim.propagation.mirrors.path_kernels import ACROSS, ALONG, CENTRE, COLUMNS, NORMAL, OFFSET
from sim.rays.kinds_of_kernels import inlined, kernel, part, whole
from sim.rays.lanes import above, load_doubles, lowest, multiply_add, size_of, spread_double

ROW = 64
"""Bytes of a row of eight."""
HEIGHT_SLACK_M = 1.0e-8
"""An image so little behind a facet may still be before it: rounding of a point on an edge, ten times over."""
PLANE_SLACK_M = 1.0e-6
GRAZING_SLACK_M = 1.0e-8
"""A point may lie a nanometre off its facet's plane, which at grazing angles moves its place in the window by far."""


@inlined
def weighed(row, x, y, z):  # type: ignore[no-untyped-def]
    """Lane by lane the scalar product of three rows of a block, from an address on, with a vector."""
    inner = multiply_add(load_doubles(row + ROW), y, load_doubles(row + 2 * ROW) * z)
    return multiply_add(load_doubles(row), x, inner)


@inlined
def dot_part(sheets, f, column, x, y, z):  # type: ignore[no-untyped-def]
    """Scalar product of three columns of sheet f with a vector."""
    return sheets[f, column] * x + sheets[f, column + 1] * y + sheets[f, column + 2] * z


@inlined
def times(ax, ay, az, bx, by, bz):  # type: ignore[no-untyped-def]
    """Vector product."""
    return ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx


@inlined
def cone_of(sheets, f, x, y, z, reach):  # type: ignore[no-untyped-def]
    """Cone from a point before a sheet: (flat, by_u, by_v, slack_u, slack_v).

    With u, v half the sides of the sheet and w the way to its middle, the faces of the cone have the inward normals
    v x u +- u x w and v x u +- v x w.  Their slacks are in the units of normal . p.
    """
    ux, uy, uz = sheets[f, ALONG], sheets[f, ALONG + 1], sheets[f, ALONG + 2]
    vx, vy, vz = sheets[f, ACROSS], sheets[f, ACROSS + 1], sheets[f, ACROSS + 2]
    wx, wy, wz = sheets[f, CENTRE] - x, sheets[f, CENTRE + 1] - y, sheets[f, CENTRE + 2] - z
    flat, by_u, by_v = times(vx, vy, vz, ux, uy, uz), times(ux, uy, uz, wx, wy, wz), times(vx, vy, vz, wx, wy, wz)
    area = abs(flat[0]) + abs(flat[1]) + abs(flat[2])
    slack_u = PLANE_SLACK_M * (area + abs(by_u[0]) + abs(by_u[1]) + abs(by_u[2]))
    slack_u += GRAZING_SLACK_M * reach * (abs(ux) + abs(uy) + abs(uz))
    slack_v = PLANE_SLACK_M * (area + abs(by_v[0]) + abs(by_v[1]) + abs(by_v[2]))
    slack_v += GRAZING_SLACK_M * reach * (abs(vx) + abs(vy) + abs(vz))
    return flat, by_u, by_v, slack_u, slack_v


@inlined
def sheets_ahead(block, bits, x, y, z, planes, start, stop):  # type: ignore[no-untyped-def]
    """Which of eight sheets are faced by the point (x, y, z) and not wholly outside one of planes[start:stop]."""
    height = weighed(block + NORMAL * ROW, spread_double(x), spread_double(y), spread_double(z))
    bits &= above(height - load_doubles(block + OFFSET * ROW), spread_double(-HEIGHT_SLACK_M))
    for j in range(start, stop):
        if bits == 0:
            break
        nx, ny, nz = spread_double(planes[j, 0]), spread_double(planes[j, 1]), spread_double(planes[j, 2])
        most = weighed(block + CENTRE * ROW, nx, ny, nz) + size_of(weighed(block + ALONG * ROW, nx, ny, nz))
        most = most + size_of(weighed(block + ACROSS * ROW, nx, ny, nz))
        bits &= above(most, spread_double(-planes[j, 3]))
    return bits


@inlined
def dot(a, b):  # type: ignore[no-untyped-def]
    """Scalar product, lane by lane."""
    return multiply_add(a[0], b[0], multiply_add(a[1], b[1], a[2] * b[2]))


@inlined
def row_of(block, column):  # type: ignore[no-untyped-def]
    """Three rows of a block."""
    at = block + column * ROW
    return load_doubles(at), load_doubles(at + ROW), load_doubles(at + 2 * ROW)


@inlined
def spread_part(sheets, f, column):  # type: ignore[no-untyped-def]
    """Three columns of sheet f, spread over lanes."""
    return spread_double(sheets[f, column]), spread_double(sheets[f, column + 1]), spread_double(sheets[f, column + 2])


@inlined
def sides_with(flat, by, slack, middle, along, across):  # type: ignore[no-untyped-def]
    """As bits, which of eight cones have the window not wholly outside the faces flat +- by."""
    f_middle, f_along, f_across = dot(flat, middle), dot(flat, along), dot(flat, across)
    b_middle, b_along, b_across = dot(by, middle), dot(by, along), dot(by, across)
    low = spread_double(0.0) - slack
    bits = above((f_middle + b_middle) + (size_of(f_along + b_along) + size_of(f_across + b_across)), low)
    return bits & above((f_middle - b_middle) + (size_of(f_along - b_along) + size_of(f_across - b_across)), low)


@inlined
def size_sum(a):  # type: ignore[no-untyped-def]
    """Sum of the absolute values of three coordinates, lane by lane."""
    return size_of(a[0]) + (size_of(a[1]) + size_of(a[2]))


@inlined
def seen_through(block, sheets, f, x, y, z, reach):  # type: ignore[no-untyped-def]
    """Which of eight sheets have cones from (x, y, z) that the window, sheet f, is not wholly outside of."""
    ix, iy, iz = spread_double(x), spread_double(y), spread_double(z)
    cx, cy, cz = row_of(block, CENTRE)
    u, v, w = row_of(block, ALONG), row_of(block, ACROSS), (cx - ix, cy - iy, cz - iz)
    flat, by_u, by_v = times(*v, *u), times(*u, *w), times(*v, *w)
    wx, wy, wz = spread_part(sheets, f, CENTRE)
    middle, along, across = (wx - ix, wy - iy, wz - iz), spread_part(sheets, f, ALONG), spread_part(sheets, f, ACROSS)
    fraction, far, area = spread_double(PLANE_SLACK_M), spread_double(GRAZING_SLACK_M * reach), size_sum(flat)
    slack = multiply_add(fraction, area + size_sum(by_u), far * size_sum(u))
    bits = sides_with(flat, by_u, slack, middle, along, across)
    slack = multiply_add(fraction, area + size_sum(by_v), far * size_sum(v))
    return bits & sides_with(flat, by_v, slack, middle, along, across)


@inlined
def put_mirrored(planes, count, sheets, f, nx, ny, nz, d):  # type: ignore[no-untyped-def]
    """Write the plane n . p + d > 0, mirrored in a sheet's plane."""
    into = 2.0 * dot_part(sheets, f, NORMAL, nx, ny, nz)
    planes[count, 0] = nx - into * sheets[f, NORMAL]
    planes[count, 1] = ny - into * sheets[f, NORMAL + 1]
    planes[count, 2] = nz - into * sheets[f, NORMAL + 2]
    planes[count, 3] = d + into * sheets[f, OFFSET]


@inlined
def put_planes(planes, filled, sheets, f, x, y, z, reach, first, last):  # type: ignore[no-untyped-def]
    """Write the planes of the beam that goes on from (x, y, z) by a sheet; return how many there are now.

    Those of the cone through the sheet come first, then those of planes[first:last] that cut the sheet: a plane that
    leaves the whole window free parts nothing behind it.
    """
    flat, by_u, by_v, slack_u, slack_v = cone_of(sheets, f, x, y, z, reach)
    for side in range(4):
        sign = 1.0 if side % 2 == 0 else -1.0
        way, slack = (by_u, slack_u) if side < 2 else (by_v, slack_v)
        nx, ny, nz = flat[0] + sign * way[0], flat[1] + sign * way[1], flat[2] + sign * way[2]
        put_mirrored(planes, filled, sheets, f, nx, ny, nz, slack - nx * x - ny * y - nz * z)
        filled += 1
    for j in range(first, last):
        nx, ny, nz, d = planes[j, 0], planes[j, 1], planes[j, 2], planes[j, 3]
        least = dot_part(sheets, f, CENTRE, nx, ny, nz) + d - abs(dot_part(sheets, f, ALONG, nx, ny, nz))
        if least < abs(dot_part(sheets, f, ACROSS, nx, ny, nz)):
            put_mirrored(planes, filled, sheets, f, nx, ny, nz, d)
            filled += 1
    return filled


# Beams: all images of one point up to an order, and for each the half-spaces outside which it is of no use.
#
# Seen from an image behind a facet, the facet is a window.  What the image can reach lies in the cone through that
# window, and in the cones through the windows before it, mirrored along.  A cone through a rectangle is four planes
# through the image, so a beam is a list of planes; nothing is ever cut, and no corner can be lost.  A facet makes a
# beam go on only when its sheet (`aperture_kernels`) is not wholly outside one of the planes, nor the window wholly
# outside one of the planes of the cone through the sheet: two convex cones with one tip are apart only if a face of one
# parts them.
#
# Everything here errs toward keeping a beam.  Whether a path exists is decided in `path_kernels`, as if there were no
# beams.


@part
def is_too_far(sheets, f, x, y, z, ends, longest):  # type: ignore[no-untyped-def]
    """Whether the image of a point in a sheet is further than longest (e,) from each of ends (e, 3).

    Whatever follows, a path over that image is no shorter than the straight line from it to where the path ends: later
    mirrors only lengthen what is left.  No ends: nothing is too far.
    """
    if ends.shape[0] == 0:
        return False
    twice = 2.0 * (dot_part(sheets, f, NORMAL, x, y, z) - sheets[f, OFFSET])
    ix, iy, iz = x - twice * sheets[f, NORMAL], y - twice * sheets[f, NORMAL + 1], z - twice * sheets[f, NORMAL + 2]
    for e in range(ends.shape[0]):
        square = (ix - ends[e, 0]) ** 2 + (iy - ends[e, 1]) ** 2 + (iz - ends[e, 2]) ** 2
        if square <= longest[e] * longest[e]:
            return False
    return True


@part
def lengthen(  # type: ignore[no-untyped-def]
    begin, count, first, facing, sheets, blocks, reach, ends, longest, images, of, parent, start, planes, group
):
    """Let beams begin : count go on by one mirror; return how many beams there are then, or -1 if they have no room.

    Block by block, so that the new beams stand in the order of their sheets' blocks: group (b + 1,).
    """
    size, room = of.shape[0], planes.shape[0]
    filled, end = start[count], count
    address = blocks.ctypes.data
    for b in range(blocks.shape[0]):
        group[b] = count
        block = address + b * (COLUMNS * ROW)
        for i in range(begin, end):
            f = of[i]
            bits = whole(first[b]) if f < 0 else whole(facing[f, b])
            if bits == 0:
                continue
            x, y, z = images[0, i], images[1, i], images[2, i]
            bits = sheets_ahead(block, bits, x, y, z, planes, start[i], start[i + 1])
            if f >= 0 and bits != 0:
                bits &= seen_through(block, sheets, f, x, y, z, reach)
            if count + 16 > size or filled + 8 * (4 + start[i + 1] - start[i]) > room:
                return -1
            while bits != 0:
                g = 8 * b + lowest(bits)
                bits &= bits - 1
                if is_too_far(sheets, g, x, y, z, ends, longest):
                    continue
                filled = put_planes(planes, filled, sheets, g, x, y, z, reach, start[i], start[i + 1])
                twice = 2.0 * (dot_part(sheets, g, NORMAL, x, y, z) - sheets[g, OFFSET])
                for axis in range(3):
                    images[axis, count] = images[axis, i] - twice * sheets[g, NORMAL + axis]
                of[count], parent[count] = g, i
                count += 1
                start[count] = filled
    group[blocks.shape[0]] = count
    return count


@kernel
def grow_beams(root, depth, first, facing, sheets, blocks, reach, ends, longest, most):  # type: ignore[no-untyped-def]
    """Return the beams of a point as (images, sheet (m,), parent (m,), start (m + 1,), planes (q, 4), group).

    images (3, m + 8): eight numbers can be read from any place.  Beam i goes by `sheet`, its planes n . p + d > 0
    are start[i] : start[i + 1], at least four of them.  Beams of k mirrors that end with a sheet of block b are
    group[k, b] : group[k, b + 1], group (depth + 1, b + 1); beam 0 is the point itself, with planes that hold for
    all.  first (b,): bits of the sheets that may come first; facing (f, b): bits of those that may follow a sheet;
    reach: no image is further from anything, in metres.  Images further than longest (e,) metres from each of ends
    (e, 3) are left out, unless there are no ends.  Past `most` beams no longer ones are grown: group then has fewer
    rows.
    """
    size, room, many = 16 + 8 * sheets.shape[0], 48 * sheets.shape[0] + 64, blocks.shape[0]
    images, of, parent = np.empty((3, size)), np.empty(size, np.int64), np.empty(size, np.int64)
    start, planes = np.empty(size + 1, np.int64), np.empty((room, 4))
    group = np.empty((depth + 1, many + 1), np.int64)
    for k in range(4):
        for column in range(4):
            planes[k, column] = 1.0 if column == 3 else 0.0
    for axis in range(3):
        images[axis, 0] = root[axis]
    of[0], parent[0], start[0], start[1] = -1, -1, 0, 4
    for b in range(many + 1):
        group[0, b] = 0 if b == 0 else 1
        for k in range(1, depth + 1):
            group[k, b] = 0
    count, order = whole(1), 0
    while order < depth and count <= most:
        longer = lengthen(
            group[order, 0],
            count,
            first,
            facing,
            sheets,
            blocks,
            reach,
            ends,
            longest,
            images,
            of,
            parent,
            start,
            planes,
            group[order + 1],
        )
        if longer >= 0:
            count = longer
            order += 1
            continue
        images, planes = _resized(images, images.shape[0], 2 * size), _resized(planes, 2 * room, planes.shape[1])
        of, parent, start = _longer(of, 2 * size), _longer(parent, 2 * size), _longer(start, 2 * size + 1)
        size, room = 2 * size, 2 * room
    images = _resized(images, images.shape[0], count + 8)
    return images, of[:count], parent[:count], start[: count + 1], planes[: start[count]], group[: order + 1]


@part
def _longer(row, size):  # type: ignore[no-untyped-def]
    more = np.empty(size, np.int64)
    for i in range(min(size, row.shape[0])):
        more[i] = row[i]
    return more


@part
def _resized(table, rows, columns):  # type: ignore[no-untyped-def]
    more = np.empty((rows, columns))
    for i in range(min(rows, table.shape[0])):
        for j in range(min(columns, table.shape[1])):
            more[i, j] = table[i, j]
    return more
