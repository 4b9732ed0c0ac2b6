"""A block of ray queries, answered together: the same answers as one by one, in less time.

One ray waits for what it finds, and the processor guesses wrongly where it goes next.  Many rays are taken step by
step: each step is the same work for all of them, without a decision in it, and none waits for another.

    queries = queries_at(work)                                # work: np.empty(QUERY_BLOCK)
    for k in range(n):                                        # n up to QUERIES
        ask(queries, k, places, px, py, pz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner)
    any_of_queries(places, queries, n, True)                  # or nearest_in_flight, where the room is not flat
    ... found_by(queries, k), reach_of(queries, k) ...
    keep(work)

Whether anything is met in rooms of few leaves is answered here, large ones in `flight_kernels`.
"""

from __future__ import annotations

import math

from sim.rays.eight_kernels import (
    BROAD,
    BROAD_BYTES,
    END_GAP_M,
    LEAF_BYTES,
    UP,
    distance_to_room,
    is_outside,
    meet_sixteen,
    meet_surfaces,
    slope,
    those_that_count,
    toward_sixteen,
)
from sim.rays.flight_kernels import (
    BLOCK_BYTES,
    DX,
    DY,
    DZ,
    FLIGHT_BYTES,
    FOUND,
    FROM,
    LENGTH,
    NOTE,
    OWNER,
    PLANE_A,
    PLANE_B,
    QUERY_BYTES,
    SKIPPED,
    UNTIL,
    X,
    Y,
    Z,
    any_in_flight,
    line_of,
    passed_by,
)
from sim.rays.kinds_of_kernels import inlined, part
from sim.rays.lane_lists import count_of, list_places, store_half
from sim.rays.lanes import (
    load_double,
    load_half,
    load_whole,
    spread_sixteen,
    store,
)

AT_ONCE = 32
"""Queries of a room without levels that are taken through it together."""
LIST = BLOCK_BYTES + 4 * AT_ONCE
QUERY_BLOCK = (64 + BLOCK_BYTES + FLIGHT_BYTES) // 8
"""Numbers of eight bytes to work in; what rooms without levels need is less than `FLIGHT_BYTES`."""


@inlined
def queries_at(work):  # type: ignore[no-untyped-def]
    """Address of the block in an array of `QUERY_BLOCK` numbers, which the caller must hold."""
    return (work.ctypes.data + 63) & ~63


@inlined
def keep(work):  # type: ignore[no-untyped-def]
    """Hold the array of a block until here, which the compiler does not see in its address."""
    work[0] = 0.0


@inlined
def is_flat(places):  # type: ignore[no-untyped-def]
    """Whether a room has so few leaves that it is not walked through: rays go one by one there to what is nearest."""
    return load_double(places[0] + 56) > 0.0


@inlined
def ask(queries, k, places, px, py, pz, dx, dy, dz, t_min, t_max, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Write query k; arguments as for `ray_kernels.nearest_but`."""
    frame, at = places[0], queries + QUERY_BYTES * k
    ox, oy, oz = px - load_double(frame), py - load_double(frame + 8), pz - load_double(frame + 16)
    skipped = 0.0
    if is_outside(frame, ox, oy, oz):
        skipped = distance_to_room(frame, ox, oy, oz, slope(dx), slope(dy), slope(dz))
        if skipped < t_max:
            ox, oy, oz = ox + skipped * dx, oy + skipped * dy, oz + skipped * dz
            t_min, t_max = t_min - skipped, t_max - skipped
        else:
            t_max, skipped = -math.inf, 0.0  # meets nothing
    store(at + X, ox)
    store(at + Y, oy)
    store(at + Z, oz)
    store(at + DX, dx)
    store(at + DY, dy)
    store(at + DZ, dz)
    store(at + LENGTH, abs(dx) + abs(dy) + abs(dz))
    store(at + FROM, t_min)
    store(at + UNTIL, t_max)
    store(at + PLANE_A, float(plane_a))
    store(at + PLANE_B, float(plane_b))
    store(at + OWNER, float(owner))
    store(at + SKIPPED, skipped)


@inlined
def ask_between(queries, k, places, px, py, pz, qx, qy, qz, plane_a, plane_b, owner):  # type: ignore[no-untyped-def]
    """Write query k: whether anything stands between points p and q, as `ray_kernels.is_hidden_at`."""
    dx, dy, dz = qx - px, qy - py, qz - pz
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    gap = END_GAP_M / length if length > 0.0 else 1.0
    until = 1.0 - gap if length >= 4.0 * END_GAP_M else -math.inf
    ask(queries, k, places, px, py, pz, dx, dy, dz, gap, until, plane_a, plane_b, owner)


@inlined
def note_at(queries, k):  # type: ignore[no-untyped-def]
    """Address of a number of eight bytes that goes with query k, for whoever asks."""
    return queries + QUERY_BYTES * k + NOTE


@inlined
def direction_of(queries, k):  # type: ignore[no-untyped-def]
    """Direction of query k, as it was asked."""
    at = queries + QUERY_BYTES * k
    return load_double(at + DX), load_double(at + DY), load_double(at + DZ)


@inlined
def found_by(queries, k):  # type: ignore[no-untyped-def]
    """What query k met: the triangle or -1 of `nearest_in_flight`, 1 or 0 of `any_of_queries`."""
    return load_whole(queries + QUERY_BYTES * k + FOUND)


@inlined
def reach_of(queries, k):  # type: ignore[no-untyped-def]
    """Distance t at which query k of `nearest_in_flight` met it, or infinity."""
    at = queries + QUERY_BYTES * k
    return load_double(at + UNTIL) + load_double(at + SKIPPED) if load_whole(at + FOUND) >= 0 else math.inf


@part
def any_of_queries(places, queries, count, is_passing):  # type: ignore[no-untyped-def]
    """Find out for each of `count` queries whether it meets anything.

    is_passing: whether any of them is to pass over planes or owners; where not, those written are not looked at.
    """
    flat = int(load_double(places[0] + 56))
    if flat == 0:
        any_in_flight(places, queries, count, is_passing)
        return
    for first in range(0, count, AT_ONCE):
        last = min(first + AT_ONCE, count)
        seeing = queries + BLOCK_BYTES
        left = seeing
        for k in range(first, last):
            at = queries + QUERY_BYTES * k
            line, earliest, latest = line_of(at)
            bits, _, _ = meet_surfaces(places[2], line, earliest, latest)
            if is_passing:
                bits = those_that_count(bits, places[2], passed_by(at))
            store(at + FOUND, int(bits != 0))
            store_half(left, k)
            left += 4 * int(bits == 0)
        begin, end = leaves_of_queries(places, flat, queries, seeing, left)
        for entry in range(begin, end, 4):
            code = load_half(entry)
            at, leaf = queries + QUERY_BYTES * (code >> 8), places[2] + LEAF_BYTES * (code & 255)
            line, earliest, latest = line_of(at)
            bits, _, _ = meet_surfaces(leaf, line, earliest, latest)
            if is_passing:
                bits = those_that_count(bits, leaf, passed_by(at))
            store(at + FOUND, load_whole(at + FOUND) | int(bits != 0))


@inlined
def leaves_of_queries(places, flat, queries, first, last):  # type: ignore[no-untyped-def]
    """Begin and end of a list of 256 * query + leaf for each leaf whose box is met, of the queries on another list.

    flat: nodes of a room without levels, whose children are leaves 1, 2, ...; leaf 0 has no box.
    """
    begin = queries + LIST
    end = begin
    for entry in range(first, last, 4):
        k = load_half(entry)
        at = queries + QUERY_BYTES * k
        dx, dy, dz = slope(load_double(at + DX)), slope(load_double(at + DY)), slope(load_double(at + DZ))
        ray = toward_sixteen(load_double(at + X), load_double(at + Y), load_double(at + Z), dx, dy, dz)
        until = spread_sixteen(load_double(at + UNTIL) * UP)
        for node in range(flat):
            bits = meet_sixteen(places[1] + BROAD_BYTES * node, ray, until)
            list_places(end, (k << 8) + BROAD * node + 1, bits)
            end += 4 * count_of(bits)
    return begin, end
