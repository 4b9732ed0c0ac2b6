"""Beams: all images of one point up to an order, and for each the half-spaces outside which it is of no use.

Seen from an image behind a facet, the facet is a window.  What the image can reach lies in the cone through that
window, and in the cones through the windows before it, mirrored along.  A cone through a rectangle is four planes
through the image, so a beam is a list of planes; nothing is ever cut, and no corner can be lost.  A facet makes a beam
go on only when its sheet (`aperture_kernels`) is not wholly outside one of the planes, nor the window wholly outside
one of the planes of the cone through the sheet: two convex cones with one tip are apart only if a face of one parts
them.

Everything here errs toward keeping a beam.  Whether a path exists is decided in `path_kernels`, as if there were no
beams.
"""

from __future__ import annotations

import numba as nb
import numpy as np

from ..geometry.kinds_of_kernels import kernel, part, whole
from ..geometry.lanes import lowest
from .aperture_kernels import COLUMNS, NORMAL, OFFSET
from .cone_kernels import ROW, dot_part, put_planes, seen_through, sheets_ahead


@part
def lengthen(begin, count, first, facing, sheets, blocks, reach, images, of, parent, start, planes, group):  # type: ignore[no-untyped-def]
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
            bits = nb.int64(first[b]) if f < 0 else nb.int64(facing[f, b])
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
def grow_beams(root, depth, first, facing, sheets, blocks, reach):  # type: ignore[no-untyped-def]
    """Return the beams of a point as (images, sheet (m,), parent (m,), start (m + 1,), planes (q, 4), group).

    images (3, m + 8): eight numbers can be read from any place.  Beam i goes by `sheet`, its planes n . p + d > 0
    are start[i] : start[i + 1], at least four of them.  Beams of k mirrors that end with a sheet of block b are
    group[k, b] : group[k, b + 1], group (depth + 1, b + 1); beam 0 is the point itself, with planes that hold for
    all.  first (b,): bits of the sheets that may come first; facing (f, b): bits of those that may follow a sheet;
    reach: no image is further from anything, in metres.
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
    while order < depth:
        longer = lengthen(
            group[order, 0], count, first, facing, sheets, blocks, reach, images, of, parent, start, planes,
            group[order + 1],
        )  # fmt: skip
        if longer >= 0:
            count = longer
            order += 1
            continue
        images, planes = _resized(images, images.shape[0], 2 * size), _resized(planes, 2 * room, planes.shape[1])
        of, parent, start = _longer(of, 2 * size), _longer(parent, 2 * size), _longer(start, 2 * size + 1)
        size, room = 2 * size, 2 * room
    images = _resized(images, images.shape[0], count + 8)
    return images, of[:count], parent[:count], start[: count + 1], planes[: start[count]], group


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
