"""Where packets scatter: what rains from there on the ears, and the directions by which they go on.

Lines of sight are asked for many at a time, and directions are worked out for eight.  Packets stand in `slots`, see
`step_kernels`.
"""

from __future__ import annotations

import math

from sim.propagation.energy.step_kernels import (
    DX,
    DY,
    DZ,
    HEARD,
    MIRRORS,
    MOST,
    NX,
    NY,
    NZ,
    PLANE,
    SCATTERED,
    X,
    Y,
    Z,
    hear,
)
from sim.rays.eight_kernels import NOTHING
from sim.rays.flight_kernels import QUERIES
from sim.rays.kinds_of_kernels import part
from sim.rays.lane_functions import wave_of
from sim.rays.lanes import (
    load_double,
    load_doubles,
    load_whole,
    scratch,
    spread_double,
    square_root,
    store,
    with_sign_turned,
)
from sim.rays.query_kernels import any_of_queries, ask_between, direction_of, found_by, note_at

EAR_BITS = 40
"""Places in a note for the number of an ear; above them stands that of the packet."""


@part
def scatter(slots, count, order, fractions, places, other_side_at, ears, hall, queries):  # type: ignore[no-untyped-def]
    """Let the packets on the list rain on the ears and go on by Lambert's law.  Returns how many lines of sight.

    fractions: address of what `sample` wrote; queries: address of a block of ray queries.
    """
    places_at, _, listeners = ears
    asked, waiting = 0, 0
    for entry in range(slots + SCATTERED, slots + SCATTERED + 8 * count, 8):
        i = load_whole(entry)
        at = slots + 8 * i
        x, y, z, plane = load_double(at + X), load_double(at + Y), load_double(at + Z), load_whole(at + PLANE)
        nx, ny, nz = load_double(at + NX), load_double(at + NY), load_double(at + NZ)
        other_side = load_whole(other_side_at + 8 * plane)
        for ear in range(listeners):
            place = places_at + 24 * ear
            ear_x, ear_y, ear_z = load_double(place), load_double(place + 8), load_double(place + 16)
            ex, ey, ez = ear_x - x, ear_y - y, ear_z - z
            if ex * nx + ey * ny + ez * nz <= 0.0:
                continue
            ask_between(queries, waiting, places, x, y, z, ear_x, ear_y, ear_z, plane, other_side, NOTHING)
            store(note_at(queries, waiting), (i << EAR_BITS) + ear)
            waiting += 1
            if waiting == QUERIES:
                rain(slots, waiting, places, ears, hall, queries)
                asked, waiting = asked + waiting, 0
    rain(slots, waiting, places, ears, hall, queries)
    turn_away(slots, count, order, fractions)
    return asked + waiting


@part
def rain(slots, count, places, ears, hall, queries):  # type: ignore[no-untyped-def]
    """Give the ears what comes to them on those of `count` lines of sight where nothing stands."""
    radii_at = ears[1]
    any_of_queries(places, queries, count, True)
    for k in range(count):
        if found_by(queries, k) != 0:
            continue
        note = load_whole(note_at(queries, k))
        i, ear = note >> EAR_BITS, note & ((1 << EAR_BITS) - 1)
        at, (ex, ey, ez) = slots + 8 * i, direction_of(queries, k)
        lift = ex * load_double(at + NX) + ey * load_double(at + NY) + ez * load_double(at + NZ)
        far, radius = math.sqrt(ex * ex + ey * ey + ez * ez), load_double(radii_at + 8 * ear)
        hear(slots, i, ear, far, lift / (math.pi * max(far, radius) ** 3), hall)


@part
def turn_away(slots, count, order, fractions):  # type: ignore[no-untyped-def]
    """Send the packets on the list on by Lambert's law, as `leg_kernels.scattered` does one by one."""
    space, one = scratch(320), spread_double(1.0)
    zero = one - one
    for first in range(0, count, 8):
        for k in range(8):
            i = load_whole(slots + SCATTERED + 8 * min(first + k, count - 1))
            at, turned, to = slots + 8 * i, fractions + 8 * (MOST + i), space + 8 * k
            store(to, load_double(at + NX))
            store(to + 64, load_double(at + NY))
            store(to + 128, load_double(at + NZ))
            store(to + 192, load_double(turned))
            store(to + 256, load_double(turned + 8 * MOST))
        nx, ny, nz, u = (
            load_doubles(space),
            load_doubles(space + 64),
            load_doubles(space + 128),
            load_doubles(space + 192),
        )
        cosine, across = square_root(one - u), square_root(u)
        along, aside = wave_of(load_doubles(space + 256) * spread_double(-2.0 * math.pi))
        a, b = across * along, across * aside
        sign = zero - with_sign_turned(one, nz)
        c = zero - one / (sign + nz)
        d = nx * ny * c
        store(space, a * (one + sign * nx * nx * c) + b * d + cosine * nx)
        store(space + 64, a * sign * d + b * (sign + ny * ny * c) + cosine * ny)
        store(space + 128, cosine * nz - a * sign * nx - b * ny)
        for k in range(min(8, count - first)):
            at, here = slots + 8 * load_whole(slots + SCATTERED + 8 * (first + k)), space + 8 * k
            store(at + DX, load_double(here))
            store(at + DY, load_double(here + 64))
            store(at + DZ, load_double(here + 128))
            store(at + HEARD, 0.0)
            # whatever comes from a mirror counts from now on
            store(at + MIRRORS, order)
