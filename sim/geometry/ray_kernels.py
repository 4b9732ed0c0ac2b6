"""One ray through the eight-wide tree: what it meets first, and whether anything stands in its way.

These functions take addresses, not arrays, so that a kernel can call them for millions of rays without the compiler
counting references to arrays each time.  `addresses_of` gives the addresses; the kernel that calls it must hold the
arrays (`*rays`) for as long as it uses them, which every kernel does that has them as arguments.

    @nb.njit
    def some_kernel(points, directions, rays):
        places = addresses_of(*rays)
        for i in range(len(points)):
            t, triangle = nearest(places, px, py, pz, dx, dy, dz, 0.0, math.inf)

How the tree is laid out stands in `wide_tree`, why it is exact in docs/explanation/rays.md.
"""

from __future__ import annotations

import math

import numba as nb

from .eight_kernels import (
    SINGLE,
    child_of,
    distance_to_room,
    meet_boxes,
    meet_surfaces,
    slope,
    toward_boxes,
    toward_surfaces,
    triangle_of,
)
from .lanes import (
    lane,
    load_double,
    load_half,
    load_single,
    load_whole,
    lowest,
    scratch,
    spread_double,
    spread_single,
    store,
)

STACK_BYTES = 4608
"""Seven waiting children a level and one more, eight bytes each, 80 levels."""
END_GAP_M = 1.0e-7
"""Hits nearer than this to either end of a segment are the surfaces the segment starts or ends on."""
NODE_BYTES, LEAF_BYTES = 256, 1024
UP = 1.0 + 2.0**-22
NONE = -1
ROOT, LARGEST = 0, -1
"""Codes of the root and of the leaf of largest surfaces."""


@nb.njit(forceinline=True)
def addresses_of(tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Addresses of frame, nodes, leaves, plane and owner of `Room.ray_arrays`, as whole numbers."""
    return tree[0].ctypes.data, tree[1].ctypes.data, tree[2].ctypes.data, plane.ctypes.data, owner_of.ctypes.data


@nb.njit(forceinline=True)
def counts(places, triangle, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Whether a triangle is one that this ray looks at."""
    plane = load_whole(places[3] + 8 * triangle)
    return plane != plane_a and plane != plane_b and load_whole(places[4] + 8 * triangle) != owner


@nb.njit(forceinline=True)
def nearest_but(places, px, py, pz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Return (t, triangle) of the first hit of p + t d with t_min < t < t_max, or (inf, -1).

    Triangles in plane_a or plane_b or belonging to `owner` are passed over; -1 passes over nothing.  t_min may be a
    little below 0, so that a start that rounding put behind a surface still meets it: 1e-8 m of way in a room.
    d: any length between 1e-9 and 1e9.
    """
    frame, nodes, leaves = places[0], places[1], places[2]
    ox, oy, oz = px - load_double(frame), py - load_double(frame + 8), pz - load_double(frame + 16)
    ix, iy, iz = slope(dx), slope(dy), slope(dz)
    skipped = distance_to_room(frame, ox, oy, oz, ix, iy, iz)
    best, found = t_max - skipped, -1
    if not best > 0.0:
        return math.inf, -1
    ox, oy, oz = ox + skipped * dx, oy + skipped * dy, oz + skipped * dz
    ray, line = toward_boxes(ox, oy, oz, ix, iy, iz), toward_surfaces(ox, oy, oz, dx, dy, dz)
    earliest, latest, end = spread_double(t_min - skipped), spread_double(best), spread_single(best * UP)
    stack, near_at = scratch(STACK_BYTES), scratch(SINGLE)
    store(stack, ROOT)
    top, child = stack + 8, LARGEST
    while True:
        if child >= 0:
            node = nodes + child * NODE_BYTES
            bits, near = meet_boxes(node, ray, end)
            if bits != 0:
                k = lowest(bits)
                bits &= bits - 1
                child = child_of(node, k)
                if bits == 0:
                    continue
                # several: the nearest goes on, the others wait on the stack, sorted, the nearest on top
                store(near_at, near)
                first = top
                while True:
                    # a float that is not negative is ordered like its bits
                    key = (load_half(near_at + 4 * k) << 32) | (child & 0xFFFFFFFF)
                    place = top
                    while place > first and load_whole(place - 8) < key:
                        store(place, load_whole(place - 8))
                        place -= 8
                    store(place, key)
                    top += 8
                    if bits == 0:
                        break
                    k = lowest(bits)
                    bits &= bits - 1
                    child = child_of(node, k)
                top -= 8
                child = load_half(top)
                continue
        else:
            leaf = leaves + (-1 - child) * LEAF_BYTES
            bits, t, half = meet_surfaces(leaf, line, earliest, latest)
            while bits != 0:
                k = lowest(bits)
                bits &= bits - 1
                here = lane(t, k)
                if here < best:
                    triangle = triangle_of(leaf, k, half)
                    if counts(places, triangle, plane_a, plane_b, owner):
                        best, found = here, triangle
                        latest, end = spread_double(best), spread_single(best * UP)
        while True:
            if top == stack:
                if found < 0:
                    return math.inf, -1
                return best + skipped, found
            top -= 8
            child = load_half(top)
            if load_single(top + 4) <= best * UP:
                break


@nb.njit(forceinline=True)
def any_but(places, px, py, pz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Return some triangle that p + t d meets with t_min < t < t_max, not always the first, or -1.

    Arguments as for `nearest_but`.
    """
    frame, nodes, leaves = places[0], places[1], places[2]
    ox, oy, oz = px - load_double(frame), py - load_double(frame + 8), pz - load_double(frame + 16)
    ix, iy, iz = slope(dx), slope(dy), slope(dz)
    skipped = distance_to_room(frame, ox, oy, oz, ix, iy, iz)
    last = t_max - skipped
    if not last > 0.0:
        return -1
    ox, oy, oz = ox + skipped * dx, oy + skipped * dy, oz + skipped * dz
    ray, line = toward_boxes(ox, oy, oz, ix, iy, iz), toward_surfaces(ox, oy, oz, dx, dy, dz)
    earliest, latest, end = spread_double(t_min - skipped), spread_double(last), spread_single(last * UP)
    stack = scratch(STACK_BYTES)
    # inside a room the largest surfaces, its walls, seldom stand between two points: they come last
    store(stack, LARGEST)
    top, child = stack + 8, ROOT
    while True:
        if child >= 0:
            node = nodes + child * NODE_BYTES
            bits, _ = meet_boxes(node, ray, end)
            while bits != 0:
                store(top, child_of(node, lowest(bits)))
                bits &= bits - 1
                top += 8
        else:
            leaf = leaves + (-1 - child) * LEAF_BYTES
            bits, _, half = meet_surfaces(leaf, line, earliest, latest)
            while bits != 0:
                triangle = triangle_of(leaf, lowest(bits), half)
                bits &= bits - 1
                if counts(places, triangle, plane_a, plane_b, owner):
                    return triangle
        if top == stack:
            return -1
        top -= 8
        child = load_whole(top)


@nb.njit(forceinline=True)
def nearest(places, px, py, pz, dx, dy, dz, t_min, t_max):  # type: ignore[no-untyped-def]
    """Return (t, triangle) of the first hit of p + t d with t_min < t < t_max, nothing passed over, or (inf, -1)."""
    return nearest_but(places, px, py, pz, dx, dy, dz, t_min, t_max, NONE, NONE, NONE)


@nb.njit(forceinline=True)
def first_between_at(places, px, py, pz, qx, qy, qz, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Return the first triangle between points p and q, or -1 when they see each other."""
    dx, dy, dz = qx - px, qy - py, qz - pz
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    if length < 4.0 * END_GAP_M:
        return -1
    gap = END_GAP_M / length
    return nearest_but(places, px, py, pz, dx, dy, dz, gap, 1.0 - gap, plane_a, plane_b, owner)[1]


@nb.njit(forceinline=True)
def is_hidden_at(places, px, py, pz, qx, qy, qz, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Whether anything stands between points p and q."""
    dx, dy, dz = qx - px, qy - py, qz - pz
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    if length < 4.0 * END_GAP_M:
        return False
    gap = END_GAP_M / length
    return any_but(places, px, py, pz, dx, dy, dz, gap, 1.0 - gap, plane_a, plane_b, owner) >= 0
