"""Rays through a room: what one meets first, whether anything stands in its way, and many at once.

These functions take addresses, not arrays, so that a kernel can call them for millions of rays without the compiler
counting references to arrays each time.  `addresses_of` gives the addresses; the kernel that calls it must hold the
arrays (`*rays`) for as long as it uses them, which every kernel does that has them as arguments.

    @kernel
    def some_kernel(points, directions, rays):
        places = addresses_of(*rays)
        for i in range(len(points)):
            t, triangle = nearest(places, px, py, pz, dx, dy, dz, 0.0, math.inf)

Rooms of up to some 800 triangles are not walked through child by child: all boxes of leaves are looked at, then all
leaves whose box is met, in any order.  That is more work than going the nearest way first, but work that never waits
for what came out before.  How the tree is laid out stands in `wide_tree`, why it is exact in docs/explanation/rays.md.
"""

from __future__ import annotations

import math

import numpy as np

from sim.rays.eight_kernels import (
    END_GAP_M,
    LEAF_BYTES,
    NOTHING,
    distance_to_room,
    is_outside,
    meet_surfaces,
    slope,
    those_that_count,
    to_pass_over,
    toward_surfaces,
)
from sim.rays.few_leaf_kernels import leaves_on_the_way, nearest_of_all
from sim.rays.flight_kernels import QUERIES, nearest_in_flight
from sim.rays.kinds_of_kernels import inlined, kernel, prange, threaded
from sim.rays.lanes import load_double, lowest, spread_double
from sim.rays.query_kernels import (
    QUERY_BLOCK,
    any_of_queries,
    ask,
    found_by,
    is_flat,
    keep,
    queries_at,
    reach_of,
)
from sim.rays.walk_kernels import any_by_walk, nearest_by_walk


@inlined
def addresses_of(tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Addresses of frame, nodes and leaves of `Room.ray_arrays`, as whole numbers; leaves hold plane and owner too."""
    return tree[0].ctypes.data, tree[1].ctypes.data, tree[2].ctypes.data


@inlined
def any_of_all(places, flat, ox, oy, oz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Whether anything is met, in a room of `flat` nodes all of whose children are leaves."""
    wanted = leaves_on_the_way(places, flat, ox, oy, oz, dx, dy, dz, t_max)
    line, earliest, latest = toward_surfaces(ox, oy, oz, dx, dy, dz), spread_double(t_min), spread_double(t_max)
    passed, found = to_pass_over(plane_a, plane_b, owner), 0
    # to stop at the first would cost more than it saves: nobody can guess where that is
    while wanted != 0:
        leaf = places[2] + lowest(wanted) * LEAF_BYTES
        wanted &= wanted - 1
        bits, _, _ = meet_surfaces(leaf, line, earliest, latest)
        found |= those_that_count(bits, leaf, passed)
    return found != 0


@inlined
def nearest_but(places, px, py, pz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Return (t, triangle) of the first hit of p + t d with t_min < t < t_max, or (inf, -1).

    Triangles in plane_a or plane_b or belonging to `owner` are passed over; -1 passes over nothing.  t_min may be a
    little below 0, so that a start that rounding put behind a surface still meets it: 1e-8 m of way in a room.
    d: any length between 1e-9 and 1e9.
    """
    frame = places[0]
    ox, oy, oz = px - load_double(frame), py - load_double(frame + 8), pz - load_double(frame + 16)
    skipped, flat = 0.0, int(load_double(frame + 56))
    if is_outside(frame, ox, oy, oz):
        skipped = distance_to_room(frame, ox, oy, oz, slope(dx), slope(dy), slope(dz))
        if not skipped < t_max:
            return math.inf, -1
        ox, oy, oz = ox + skipped * dx, oy + skipped * dy, oz + skipped * dz
        t_min, t_max = t_min - skipped, t_max - skipped
    if flat > 0:
        t, triangle = nearest_of_all(places, flat, ox, oy, oz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner)
    else:
        t, triangle = nearest_by_walk(places, ox, oy, oz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner)
    return t + skipped, triangle


@inlined
def any_but(places, px, py, pz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Whether p + t d meets anything with t_min < t < t_max; arguments as for `nearest_but`."""
    frame = places[0]
    ox, oy, oz = px - load_double(frame), py - load_double(frame + 8), pz - load_double(frame + 16)
    flat = int(load_double(frame + 56))
    if is_outside(frame, ox, oy, oz):
        skipped = distance_to_room(frame, ox, oy, oz, slope(dx), slope(dy), slope(dz))
        if not skipped < t_max:
            return False
        ox, oy, oz = ox + skipped * dx, oy + skipped * dy, oz + skipped * dz
        t_min, t_max = t_min - skipped, t_max - skipped
    if flat > 0:
        return any_of_all(places, flat, ox, oy, oz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner)
    return any_by_walk(places, ox, oy, oz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner)


@inlined
def nearest(places, px, py, pz, dx, dy, dz, t_min, t_max):  # type: ignore[no-untyped-def]
    """Return (t, triangle) of the first hit of p + t d with t_min < t < t_max, nothing passed over, or (inf, -1)."""
    return nearest_but(places, px, py, pz, dx, dy, dz, t_min, t_max, NOTHING, NOTHING, NOTHING)


@inlined
def first_between_at(places, px, py, pz, qx, qy, qz, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Return the first triangle between points p and q, or -1 when they see each other."""
    dx, dy, dz = qx - px, qy - py, qz - pz
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    if length < 4.0 * END_GAP_M:
        return -1
    gap = END_GAP_M / length
    return nearest_but(places, px, py, pz, dx, dy, dz, gap, 1.0 - gap, plane_a, plane_b, owner)[1]


@inlined
def is_hidden_at(places, px, py, pz, qx, qy, qz, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Whether anything stands between points p and q."""
    dx, dy, dz = qx - px, qy - py, qz - pz
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    if length < 4.0 * END_GAP_M:
        return False
    gap = END_GAP_M / length
    return any_but(places, px, py, pz, dx, dy, dz, gap, 1.0 - gap, plane_a, plane_b, owner)


# Many rays at once, on one thread or on all: arrays in, arrays out.
#
# The compiler's cache does not know whether a function was made for several threads, so that two flavours of one
# function would be mistaken for each other: each flavour has a name, and both call the same loop over a chunk.

CHUNK = 1024
"""Rays in one piece of work for a thread."""


@inlined
def ask_of_rays(queries, first, last, places, points, directions, t_max):  # type: ignore[no-untyped-def]
    """Write rays first .. last - 1 to a block of queries."""
    p, d, none = points, directions, NOTHING
    for i in range(first, last):
        k = i - first
        ask(
            queries,
            k,
            places,
            p[i, 0],
            p[i, 1],
            p[i, 2],
            d[i, 0],
            d[i, 1],
            d[i, 2],
            0.0,
            t_max[i],
            none,
            none,
            none,
        )


@inlined
def nearest_in_chunk(places, chunk, points, directions, t_max, t, triangle):  # type: ignore[no-untyped-def]
    """Fill t and triangle for the rays of one chunk."""
    p, d, begin, end = points, directions, chunk * CHUNK, min((chunk + 1) * CHUNK, points.shape[0])
    if is_flat(places):
        for i in range(begin, end):
            t[i], triangle[i] = nearest(places, p[i, 0], p[i, 1], p[i, 2], d[i, 0], d[i, 1], d[i, 2], 0.0, t_max[i])
        return
    work = np.empty(QUERY_BLOCK)
    queries = queries_at(work)
    for first in range(begin, end, QUERIES):
        last = min(first + QUERIES, end)
        ask_of_rays(queries, first, last, places, points, directions, t_max)
        nearest_in_flight(places, queries, last - first, False)
        for i in range(first, last):
            t[i], triangle[i] = reach_of(queries, i - first), found_by(queries, i - first)
    keep(work)


@inlined
def any_in_chunk(places, chunk, points, directions, t_max, met):  # type: ignore[no-untyped-def]
    """Fill met for the rays of one chunk."""
    work, end = np.empty(QUERY_BLOCK), min((chunk + 1) * CHUNK, points.shape[0])
    queries = queries_at(work)
    for first in range(chunk * CHUNK, end, QUERIES):
        last = min(first + QUERIES, end)
        ask_of_rays(queries, first, last, places, points, directions, t_max)
        any_of_queries(places, queries, last - first, False)
        for i in range(first, last):
            met[i] = found_by(queries, i - first) != 0
    keep(work)


@kernel
def nearest_of_rays(points, directions, t_max, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Return (t (n,), triangle (n,)) of the first hit with 0 < t < t_max (n,), (inf, -1) where there is none.

    points, directions: (n, 3), directions of any length; tree, ...: `Room.ray_arrays`.
    """
    n = points.shape[0]
    t, triangle = np.empty(n), np.empty(n, np.int64)
    places = addresses_of(tree, triangles, plane, owner_of)
    for chunk in range((n + CHUNK - 1) // CHUNK):
        nearest_in_chunk(places, chunk, points, directions, t_max, t, triangle)
    return t, triangle


@threaded
def nearest_of_rays_on_threads(points, directions, t_max, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """`nearest_of_rays` on all threads; the same bits."""
    n = points.shape[0]
    t, triangle = np.empty(n), np.empty(n, np.int64)
    places = addresses_of(tree, triangles, plane, owner_of)
    for chunk in prange((n + CHUNK - 1) // CHUNK):
        nearest_in_chunk(places, chunk, points, directions, t_max, t, triangle)
    return t, triangle


@kernel
def any_of_rays(points, directions, t_max, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """Return (n,) whether anything is met with 0 < t < t_max (n,); arguments as for `nearest_of_rays`."""
    n = points.shape[0]
    met = np.empty(n, np.bool_)
    places = addresses_of(tree, triangles, plane, owner_of)
    for chunk in range((n + CHUNK - 1) // CHUNK):
        any_in_chunk(places, chunk, points, directions, t_max, met)
    return met


@threaded
def any_of_rays_on_threads(points, directions, t_max, tree, triangles, plane, owner_of):  # type: ignore[no-untyped-def]
    """`any_of_rays` on all threads; the same bits."""
    n = points.shape[0]
    met = np.empty(n, np.bool_)
    places = addresses_of(tree, triangles, plane, owner_of)
    for chunk in prange((n + CHUNK - 1) // CHUNK):
        any_in_chunk(places, chunk, points, directions, t_max, met)
    return met
