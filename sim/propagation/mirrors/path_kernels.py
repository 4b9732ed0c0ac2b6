"""Mirrored paths between two points, from the beams of both: arrays in, arrays out.

A path of k mirrors is looked for in its middle.  The source is mirrored k // 2 times, the ear the rest, and the two
images must see each other through the windows of both beams.  Eight ears' images are asked at once whether they lie
within the planes of a source's beam; the few that do are traced mirror by mirror and tested for obstacles, which alone
decides.  Facet and ray arrays as in `kernels`, beams as `beam_kernels.grow_beams` gives them.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

from sim.propagation.mirrors.kernels import IN_FRONT_M, height_above, path_is_clear, trace_back_beside
from sim.rays.kinds_of_kernels import inlined, kernel, part
from sim.rays.lanes import above, load_doubles, lowest, multiply_add, spread_double


@inlined
def spread_plane(planes, j):  # type: ignore[no-untyped-def]
    """A plane's four numbers, spread over lanes."""
    return (
        spread_double(planes[j, 0]),
        spread_double(planes[j, 1]),
        spread_double(planes[j, 2]),
        spread_double(planes[j, 3]),
    )


@inlined
def side_of(plane, x, y, z):  # type: ignore[no-untyped-def]
    """Lane by lane n . p + d, above 0 within."""
    nx, ny, nz, d = plane
    return multiply_add(nx, x, multiply_add(ny, y, multiply_add(nz, z, d)))


@inlined
def is_within(images, i, planes, first, stop):  # type: ignore[no-untyped-def]
    """Whether image i lies in planes[first:stop]."""
    x, y, z = images[0, i], images[1, i], images[2, i]
    for j in range(first, stop):  # noqa: SIM110
        if planes[j, 0] * x + planes[j, 1] * y + planes[j, 2] * z + planes[j, 3] <= 0.0:
            return False
    return True


@part
def mirror_along(source, count, sequence, images, facets):  # type: ignore[no-untyped-def]
    """Fill images (count + 1, 3) of a source by the facets in `sequence`; False when it is not in front of one."""
    normal, offset = facets[0], facets[1]
    for axis in range(3):
        images[0, axis] = source[axis]
    for k in range(count):
        f = sequence[k]
        height = height_above(normal[f], offset[f], images[k])
        if height <= IN_FRONT_M:
            return False
        for axis in range(3):
            images[k + 1, axis] = images[k, axis] - 2.0 * height * normal[f, axis]
    return True


@part
def stands_before(sequences, i, j):  # type: ignore[no-untyped-def]
    """Whether row i stands before row j as a tree is walked: -1, where a path ends, before any facet."""
    for k in range(sequences.shape[1]):
        if sequences[i, k] != sequences[j, k]:
            return sequences[i, k] < sequences[j, k]
    return False


@part
def in_order(sequences, count):  # type: ignore[no-untyped-def]
    """Numbers of the first `count` rows in the order of `stands_before`, sorted by Shell (Comm. ACM 2 (1959) 30)."""
    rows = np.empty(count, np.int64)
    for i in range(count):
        rows[i] = i
    gap = count // 2
    while gap > 0:
        for i in range(gap, count):
            row, j = rows[i], i
            while j >= gap and stands_before(sequences, row, rows[j - gap]):
                rows[j] = rows[j - gap]
                j -= gap
            rows[j] = row
        gap //= 2
    return rows


@part
def keep_valid(  # type: ignore[no-untyped-def]
    source_beams, ear_beams, pairs, ends, aheads, number, own, facets, beside, rays, sequences, points
):
    """Fill sequences (n, order) and points (n, order, 3) with the pairs that are paths; return how many there are.

    pairs[ends[k - 1] : ends[k]] have k mirrors, of which aheads[k] on the source's side.
    """
    order, count = sequences.shape[1], 0
    images, source, ear, touches = np.empty((order + 1, 3)), np.empty(3), np.empty(3), np.empty((order, 3))
    slack, bare = beside
    for axis in range(3):
        source[axis], ear[axis] = source_beams[0][axis, 0], ear_beams[0][axis, 0]
    for mirrors in range(1, order + 1):
        for pair in range(ends[mirrors - 1], ends[mirrors]):
            sequence, place, beam = sequences[count], points[count], pairs[pair, 0]
            for k in range(aheads[mirrors] - 1, -1, -1):
                sequence[k], beam = number[source_beams[1][beam]], source_beams[2][beam]
            beam = pairs[pair, 1]
            for k in range(aheads[mirrors], mirrors):
                sequence[k], beam = number[ear_beams[1][beam]], ear_beams[2][beam]
            if not mirror_along(source, mirrors, sequence, images, facets):
                continue
            if not trace_back_beside(ear, mirrors - 1, sequence, images, facets, slack, bare, place, touches):
                continue
            if path_is_clear(source, ear, mirrors - 1, sequence, touches, own, facets, rays):
                for k in range(mirrors, order):
                    sequence[k] = -1
                    for axis in range(3):
                        place[k, axis] = math.nan
                count += 1
    return count


@part
def sweep_pairs(source_beams, ahead, ear_beams, behind, facing, pairs):  # type: ignore[no-untyped-def]
    """Write to pairs (n, 2) which beams of `ahead` and of `behind` mirrors see each other; return how many do.

    A count above n means that only the first n were written.
    """
    images, sheet, _, start, planes, group = source_beams
    ear_images, ear_sheet, _, ear_start, ear_planes, ear_group = ear_beams
    count, many, none = 0, facing.shape[1], spread_double(0.0)
    address, row = ear_images.ctypes.data, 8 * ear_images.shape[1]
    for i in range(group[ahead, 0], group[ahead, many]):
        f, first, last = sheet[i], start[i], start[i + 1]
        one, two = spread_plane(planes, first), spread_plane(planes, first + 1)
        three, four = spread_plane(planes, first + 2), spread_plane(planes, first + 3)
        for b in range(many if behind > 0 else 1):
            allowed = nb.int64(facing[f, b]) if behind > 0 else 1
            if allowed == 0:
                continue
            stop = ear_group[behind, b + 1]
            for eight in range(ear_group[behind, b], stop, 8):
                at = address + 8 * eight
                x, y, z = load_doubles(at), load_doubles(at + row), load_doubles(at + 2 * row)
                bits = above(side_of(one, x, y, z), none) & above(side_of(two, x, y, z), none)
                bits &= above(side_of(three, x, y, z), none) & above(side_of(four, x, y, z), none)
                bits &= (1 << min(8, stop - eight)) - 1
                while bits != 0:
                    j = eight + lowest(bits)
                    bits &= bits - 1
                    if behind > 0 and (allowed >> (ear_sheet[j] & 7)) & 1 == 0:
                        continue
                    if not is_within(images, i, ear_planes, ear_start[j], ear_start[j + 1]):
                        continue
                    if not is_within(ear_images, j, planes, first + 4, last):
                        continue
                    if count < pairs.shape[0]:
                        pairs[count, 0], pairs[count, 1] = i, j
                    count += 1
    return count


@kernel
def find_paths(source_beams, ear_beams, order, number, facing, own, facets, beside, rays):  # type: ignore[no-untyped-def]
    """Return (sequences (n, order), points (n, order, 3)) of all valid mirrored paths of 1 to `order` mirrors.

    beside = (slack (f,), bare (r,)): how far beside a bare side of each facet a point may lie (`touches_facet`).

    Paths stand in the order of Borish's tree (JASA 75 (1984) 1827-1836) walked depth first.  The beams are as long as
    `beams.split` tells.  number (f,): facet of each sheet; facing as for `grow_beams`.
    """
    deeper = ear_beams[5].shape[0] >= source_beams[5].shape[0]
    pairs, ends, aheads = np.empty((1024, 2), np.int64), np.empty(order + 1, np.int64), np.empty(order + 1, np.int64)
    ends[0], aheads[0], mirrors = 0, 0, 1
    while mirrors <= order:
        # the source's beams know which facets may come first, so each path has one of them
        aheads[mirrors] = max(1, mirrors // 2) if deeper else (mirrors + 1) // 2
        if ear_beams[5].shape[0] == 1:  # all on the source's side
            aheads[mirrors] = mirrors
        begin, ahead = ends[mirrors - 1], aheads[mirrors]
        end = begin + sweep_pairs(source_beams, ahead, ear_beams, mirrors - ahead, facing, pairs[begin:])
        if end > pairs.shape[0]:
            more = np.empty((2 * end, 2), np.int64)
            for i in range(begin):
                more[i, 0], more[i, 1] = pairs[i, 0], pairs[i, 1]
            pairs = more
            continue
        ends[mirrors] = end
        mirrors += 1
    kept, at = np.empty((ends[order], order), np.int64), np.empty((ends[order], order, 3))
    count = keep_valid(source_beams, ear_beams, pairs, ends, aheads, number, own, facets, beside, rays, kept, at)
    sequences, points = np.empty((count, order), np.int64), np.empty((count, order, 3))
    rows = in_order(kept, count)
    for i in range(count):
        for k in range(order):
            sequences[i, k] = kept[rows[i], k]
            for axis in range(3):
                points[i, k, axis] = at[rows[i], k, axis]
    return sequences, points
