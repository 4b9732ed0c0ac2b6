"""Rectangles about facets, and which facets have anything in front of each other: arrays in, arrays out.

A sheet is what `beam_kernels` knows of a facet: the smallest rectangle found about its polygon, let out a little, and
its plane.  For a wall or the side of a cupboard it is the facet itself; for an L or a gable it holds more than the
facet.  So whatever goes through a facet goes through its sheet, and only that is asked of it.
"""

from __future__ import annotations

import math

import numpy as np

from sim.propagation.mirrors.kernels import IN_FRONT_M, height_above, path_is_clear, trace_back_beside
from sim.rays.kinds_of_kernels import inlined, kernel, part, whole
from sim.rays.lanes import above, load_doubles, lowest, multiply_add, spread_double

WIDER_M = 1.0e-5
"""By how much sheets are wider than their facets: five times the slack of a point on a border."""
DIRECTIONS = 64
"""Most directions tried for the sides of a rectangle; a facet of a scan may have hundreds of sides."""
CENTRE, ALONG, ACROSS, NORMAL, OFFSET = (whole(column) for column in (0, 3, 6, 9, 12))
"""Columns of a sheet: middle, half of each side as a vector, and the plane normal . x = offset."""
COLUMNS = 13


@kernel
def smallest_rectangle(sides):  # type: ignore[no-untyped-def]
    """Return (cos, sin, low x, high x, low y, high y) of the smallest rectangle about border sides (b, 4).

    Of all rectangles that hold a polygon, the smallest has a side along one of the polygon's hull (Freeman & Shapira,
    Comm. ACM 18 (1975) 409-413).  Here the sides of the border itself are tried.
    """
    n = sides.shape[0]
    best, found = math.inf, (1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    for i in range(0, n, 1 + (n - 1) // DIRECTIONS):
        dx, dy = sides[i, 2] - sides[i, 0], sides[i, 3] - sides[i, 1]
        length = math.hypot(dx, dy)
        if length == 0.0:
            continue
        c, s = dx / length, dy / length
        low_x, high_x, low_y, high_y = math.inf, -math.inf, math.inf, -math.inf
        for j in range(n):
            x, y = c * sides[j, 0] + s * sides[j, 1], c * sides[j, 1] - s * sides[j, 0]
            low_x, high_x = min(low_x, x), max(high_x, x)
            low_y, high_y = min(low_y, y), max(high_y, y)
        area = (high_x - low_x) * (high_y - low_y)
        if area < best:
            best, found = area, (c, s, low_x, high_x, low_y, high_y)
    return found


@kernel
def lay_sheets(number, normal, offset, frame, border, border_start, wider):  # type: ignore[no-untyped-def]
    """Return sheets (f, 13) of the facets number (f,), each let out by wider (f,) metres on every side."""
    n = number.shape[0]
    sheets = np.empty((n, COLUMNS))
    for sheet in range(n):
        f = number[sheet]
        c, s, low_x, high_x, low_y, high_y = smallest_rectangle(border[border_start[f] : border_start[f + 1]])
        x, y = 0.5 * (low_x + high_x), 0.5 * (low_y + high_y)
        more = wider[f] + WIDER_M
        half_x, half_y = 0.5 * (high_x - low_x) + more, 0.5 * (high_y - low_y) + more
        for axis in range(3):
            first, second = frame[f, 1, axis], frame[f, 2, axis]
            along, across = c * first + s * second, c * second - s * first
            sheets[sheet, CENTRE + axis] = frame[f, 0, axis] + x * along + y * across
            sheets[sheet, ALONG + axis] = half_x * along
            sheets[sheet, ACROSS + axis] = half_y * across
            sheets[sheet, NORMAL + axis] = normal[f, axis]
        sheets[sheet, OFFSET] = offset[f]
    return sheets


@kernel
def some_in_front(normal, offset, frame, border, border_start):  # type: ignore[no-untyped-def]
    """Return (f, f): whether any corner of facet i lies in front of facet j."""
    n = offset.shape[0]
    found = np.empty((n, n), np.bool_)
    for i in range(n):
        first, last = border_start[i], border_start[i + 1]
        corners = np.empty((last - first, 3))
        for k in range(last - first):
            for axis in range(3):
                along, across = border[first + k, 0] * frame[i, 1, axis], border[first + k, 1] * frame[i, 2, axis]
                corners[k, axis] = frame[i, 0, axis] + along + across
        for j in range(n):
            nx, ny, nz = normal[j, 0], normal[j, 1], normal[j, 2]
            found[i, j] = False
            for k in range(last - first):
                if nx * corners[k, 0] + ny * corners[k, 1] + nz * corners[k, 2] - offset[j] > IN_FRONT_M:
                    found[i, j] = True
                    break
    return found


# Mirrored paths between two points, from the beams of both: arrays in, arrays out.
#
# A path of k mirrors is looked for in its middle.  The source is mirrored k // 2 times, the ear the rest, and the two
# images must see each other through the windows of both beams.  Eight ears' images are asked at once whether they lie
# within the planes of a source's beam; the few that do are traced mirror by mirror and tested for obstacles, which
# alone decides.  Facet and ray arrays as in `kernels`, beams as `beam_kernels.grow_beams` gives them.


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
            allowed = whole(facing[f, b]) if behind > 0 else 1
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


@kernel
def first_of_each(rows):  # type: ignore[no-untyped-def]
    """Numbers of the rows (n, c) that differ from all earlier ones, nan being like nan."""
    n, kept, count = rows.shape[0], np.empty(rows.shape[0], np.int64), 0
    for i in range(n):
        new = True
        for k in range(count):
            alike = True
            for c in range(rows.shape[1]):
                a, b = rows[i, c], rows[kept[k], c]
                if a != b and not (math.isnan(a) and math.isnan(b)):
                    alike = False
                    break
            if alike:
                new = False
                break
        if new:
            kept[count] = i
            count += 1
    return kept[:count]
