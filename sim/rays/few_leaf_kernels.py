"""Rays through a room of few leaves, which are not walked through: all boxes are looked at, then all leaves met.

Points are relative to the middle of the tree's frame and lie inside it.  What a ray needs of itself, such as one over
its direction, is worked out for eight rays in one vector where eight are asked for together, to the same bits.
"""

from __future__ import annotations

import math

from sim.rays.eight_kernels import (
    BROAD,
    BROAD_BYTES,
    DOUBLE,
    LEAF_BYTES,
    SINGLE,
    STEEPEST,
    UP,
    meet_before,
    meet_sixteen,
    slope,
    those_that_count,
    to_pass_over,
    toward_sixteen,
    toward_surfaces,
    triangle_of,
)
from sim.rays.kinds_of_kernels import inlined, part, whole
from sim.rays.lane_lists import spread_sixteen_at
from sim.rays.lanes import (
    above,
    equal,
    lane,
    load_double,
    load_doubles,
    load_whole,
    lowest,
    narrow,
    scratch,
    size_of,
    smallest,
    spread_double,
    spread_sixteen,
    store,
    where,
    with_sign_turned,
)


@inlined
def leaves_met(places, flat, ray, end):  # type: ignore[no-untyped-def]
    """Leaves whose box a ray of `toward_sixteen` meets, as bits: leaf k is bit k, and leaf 0 is always among them."""
    wanted = 1
    for node in range(flat):
        wanted |= meet_sixteen(places[1] + node * BROAD_BYTES, ray, end) << (BROAD * node + 1)
    return wanted


@inlined
def leaves_on_the_way(places, flat, ox, oy, oz, dx, dy, dz, t_max):  # type: ignore[no-untyped-def]
    """`leaves_met` of a ray before t_max."""
    ray = toward_sixteen(ox, oy, oz, slope(dx), slope(dy), slope(dz))
    return leaves_met(places, flat, ray, spread_sixteen(t_max * UP))


@inlined
def nearest_in_leaves(places, wanted, line, t_min, t_max, passed):  # type: ignore[no-untyped-def]
    """Return (t, triangle) of the first hit in the leaves of `leaves_met`, or (inf, -1).

    Each lane keeps the nearest it has met; lanes are compared only at the end.
    """
    earliest, best, below = spread_double(t_min), spread_double(t_max), spread_double(1.0)
    best_leaf, best_half = spread_double(-1.0), spread_double(0.0)
    while wanted != 0:
        number = lowest(wanted)
        wanted &= wanted - 1
        leaf = places[2] + number * LEAF_BYTES
        bits, (far, fast), half = meet_before(leaf, line, earliest, (best, below))
        bits = those_that_count(bits, leaf, passed)
        best, below, best_half = where(bits, far, best), where(bits, fast, below), where(bits, half, best_half)
        best_leaf = where(bits, spread_double(float(number)), best_leaf)
    t = best / below
    least = smallest(t)
    if not least < t_max:
        return math.inf, -1
    k = lowest(equal(t, spread_double(least)))
    return least, triangle_of(places[2] + int(lane(best_leaf, k)) * LEAF_BYTES, k, best_half)


@inlined
def nearest_of_all(places, flat, ox, oy, oz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Return (t, triangle) of the first hit, or (inf, -1), in a room of `flat` nodes without levels."""
    wanted = leaves_on_the_way(places, flat, ox, oy, oz, dx, dy, dz, t_max)
    line, passed = toward_surfaces(ox, oy, oz, dx, dy, dz), to_pass_over(plane_a, plane_b, owner)
    return nearest_in_leaves(places, wanted, line, t_min, t_max, passed)


# Eight rays together: rows of eight numbers at addresses.

STARTS, LENGTHS, SLOPES = 0, 3 * DOUBLE, 4 * DOUBLE
BACKS = SLOPES + 3 * SINGLE
READY_BYTES = BACKS + 3 * SINGLE
_FLATTEST = 1.0 / STEEPEST


@inlined
def slopes(d):  # type: ignore[no-untyped-def]
    """`slope` of eight."""
    steepest = with_sign_turned(spread_double(-STEEPEST), d)
    return where(above(size_of(d), spread_double(_FLATTEST)), spread_double(1.0) / d, steepest)


@inlined
def make_ready(ready, frame, rows):  # type: ignore[no-untyped-def]
    """Write what eight rays need of themselves.  Returns (rays from outside, as bits, and slopes above 0 by axis)."""
    zero = spread_double(0.0)
    (x, y, z), directions = rows
    dx, dy, dz = load_doubles(directions[0]), load_doubles(directions[1]), load_doubles(directions[2])
    ox = load_doubles(x) - spread_double(load_double(frame))
    oy = load_doubles(y) - spread_double(load_double(frame + 8))
    oz = load_doubles(z) - spread_double(load_double(frame + 16))
    outside = above(size_of(ox), spread_double(load_double(frame + 24)))
    outside |= above(size_of(oy), spread_double(load_double(frame + 32)))
    outside |= above(size_of(oz), spread_double(load_double(frame + 40)))
    ix, iy, iz = slopes(dx), slopes(dy), slopes(dz)
    store(ready + STARTS, ox)
    store(ready + STARTS + DOUBLE, oy)
    store(ready + STARTS + 2 * DOUBLE, oz)
    store(ready + LENGTHS, size_of(dx) + size_of(dy) + size_of(dz))
    store(ready + SLOPES, narrow(ix))
    store(ready + SLOPES + SINGLE, narrow(iy))
    store(ready + SLOPES + 2 * SINGLE, narrow(iz))
    store(ready + BACKS, narrow((zero - ox) * ix))
    store(ready + BACKS + SINGLE, narrow((zero - oy) * iy))
    store(ready + BACKS + 2 * SINGLE, narrow((zero - oz) * iz))
    return outside, (above(ix, zero), above(iy, zero), above(iz, zero))


@part
def nearest_of_eight(places, count, rows, t_min, t_max_at, passed_at, t_at, triangle_at):  # type: ignore[no-untyped-def]
    """Write (t, triangle) of the first hit of each of up to eight rays to the rows at t_at and triangle_at.

    rows: addresses of rows of eight ((x, y, z), (dx, dy, dz)), of which the first `count` are asked for; t_max_at: of a
    row; passed_at: of two rows of planes that are passed over.  Only in rooms of few leaves.
    Returns, as bits, the rays that start outside of everything: these are left out.
    """
    ready, frame, directions, nothing = scratch(READY_BYTES), places[0], rows[1], whole(-1)
    flat = int(load_double(frame + 56))
    outside, (right, ahead, up) = make_ready(ready, frame, rows)
    for k in range(count):
        if outside >> k & 1 != 0:
            continue
        at, half_at, t_max = ready + 8 * k, ready + SLOPES + 4 * k, load_double(t_max_at + 8 * k)
        begin = (
            6 * SINGLE * (1 - (right >> k & 1)),
            6 * SINGLE * (1 - (ahead >> k & 1)) + 2 * SINGLE,
            6 * SINGLE * (1 - (up >> k & 1)) + 4 * SINGLE,
        )
        steep = (
            spread_sixteen_at(half_at),
            spread_sixteen_at(half_at + SINGLE),
            spread_sixteen_at(half_at + 2 * SINGLE),
        )
        back = (
            spread_sixteen_at(half_at + 3 * SINGLE),
            spread_sixteen_at(half_at + 4 * SINGLE),
            spread_sixteen_at(half_at + 5 * SINGLE),
        )
        wanted = leaves_met(places, flat, (begin, steep, back), spread_sixteen(t_max * UP))
        line = (
            (
                spread_double(load_double(at)),
                spread_double(load_double(at + DOUBLE)),
                spread_double(load_double(at + 2 * DOUBLE)),
            ),
            (
                spread_double(load_double(directions[0] + 8 * k)),
                spread_double(load_double(directions[1] + 8 * k)),
                spread_double(load_double(directions[2] + 8 * k)),
            ),
            spread_double(load_double(at + LENGTHS)),
        )
        passed = to_pass_over(load_whole(passed_at[0] + 8 * k), load_whole(passed_at[1] + 8 * k), nothing)
        t, triangle = nearest_in_leaves(places, wanted, line, t_min, t_max, passed)
        store(t_at + 8 * k, t)
        store(triangle_at + 8 * k, triangle)
    return outside & ((1 << count) - 1)
