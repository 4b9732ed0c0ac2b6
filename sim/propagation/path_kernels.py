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

from ..geometry.lanes import above, load_doubles, lowest, multiply_add, spread_double
from .kernels import IN_FRONT_M, height_above, path_is_clear, trace_back


@nb.njit(forceinline=True)
def spread_plane(planes, j):  # type: ignore[no-untyped-def]
    """A plane's four numbers, spread over lanes."""
    return (
        spread_double(planes[j, 0]),
        spread_double(planes[j, 1]),
        spread_double(planes[j, 2]),
        spread_double(planes[j, 3]),
    )


@nb.njit(forceinline=True)
def side_of(plane, x, y, z):  # type: ignore[no-untyped-def]
    """Lane by lane n . p + d, above 0 within."""
    nx, ny, nz, d = plane
    return multiply_add(nx, x, multiply_add(ny, y, multiply_add(nz, z, d)))


@nb.njit(forceinline=True)
def is_within(images, i, planes, first, stop):  # type: ignore[no-untyped-def]
    """Whether image i lies in planes[first:stop]."""
    x, y, z = images[0, i], images[1, i], images[2, i]
    for j in range(first, stop):  # noqa: SIM110
        if planes[j, 0] * x + planes[j, 1] * y + planes[j, 2] * z + planes[j, 3] <= 0.0:
            return False
    return True


@nb.njit(cache=True)
def mirror_along(source, count, sequence, images, facets):  # type: ignore[no-untyped-def]
    """Fill images (count + 1, 3) of a source by the facets in `sequence`; False when it is not in front of one."""
    normal, offset = facets[0], facets[1]
    images[0] = source
    for k in range(count):
        f = sequence[k]
        height = height_above(normal[f], offset[f], images[k])
        if height <= IN_FRONT_M:
            return False
        for axis in range(3):
            images[k + 1, axis] = images[k, axis] - 2.0 * height * normal[f, axis]
    return True


@nb.njit(cache=True)
def in_order(sequences):  # type: ignore[no-untyped-def]
    """Row numbers that sort sequences (n, order) as a tree is walked: -1, where a path ends, before any facet."""
    rows = np.arange(sequences.shape[0])
    for k in range(sequences.shape[1] - 1, -1, -1):
        rows = rows[np.argsort(sequences[rows, k], kind="mergesort")]
    return rows


@nb.njit(cache=True, nogil=True)
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


@nb.njit(cache=True, nogil=True)
def find_paths(source_beams, ear_beams, order, number, facing, own, facets, rays):  # type: ignore[no-untyped-def]
    """Return (sequences (n, order), points (n, order, 3)) of all valid mirrored paths of 1 to `order` mirrors.

    Paths stand in the order of Borish's tree (JASA 75 (1984) 1827-1836) walked depth first.  The beams are as long as
    `beams.split` tells.  number (f,): facet of each sheet; facing as for `grow_beams`.
    """
    deeper = ear_beams[5].shape[0] >= source_beams[5].shape[0]
    source, ear = source_beams[0][:, 0].copy(), ear_beams[0][:, 0].copy()
    pairs, ends = np.empty((1024, 2), np.int64), np.zeros(order + 1, np.int64)
    for mirrors in range(1, order + 1):
        # the source's beams know which facets may come first, so each path has one of them
        ahead = max(1, mirrors // 2) if deeper else (mirrors + 1) // 2
        begin = ends[mirrors - 1]
        while True:
            found = sweep_pairs(source_beams, ahead, ear_beams, mirrors - ahead, facing, pairs[begin:])
            if begin + found <= pairs.shape[0]:
                break
            pairs = np.concatenate((pairs[:begin], np.empty((2 * found, 2), np.int64)))
        ends[mirrors] = begin + found
    sequences, places = np.full((ends[order], order), -1), np.full((ends[order], order, 3), math.nan)
    images, count = np.zeros((order + 1, 3)), 0
    for mirrors in range(1, order + 1):
        ahead = max(1, mirrors // 2) if deeper else (mirrors + 1) // 2
        for pair in range(ends[mirrors - 1], ends[mirrors]):
            sequence, points = sequences[count], places[count]
            beam = pairs[pair, 0]
            for k in range(ahead - 1, -1, -1):
                sequence[k], beam = number[source_beams[1][beam]], source_beams[2][beam]
            beam = pairs[pair, 1]
            for k in range(ahead, mirrors):
                sequence[k], beam = number[ear_beams[1][beam]], ear_beams[2][beam]
            if (
                mirror_along(source, mirrors, sequence, images, facets)
                and trace_back(ear, mirrors - 1, sequence, images, facets, points)
                and path_is_clear(source, ear, mirrors - 1, sequence, points, own, facets, rays)
            ):
                count += 1
            else:
                sequence[:], points[:] = -1, math.nan
    rows = in_order(sequences[:count])
    return sequences[rows], places[rows]
