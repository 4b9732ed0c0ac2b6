"""The steps of a tracer, each taken for all packets of octaves in a block before the next is begun.

The block, `slots`, holds a row of numbers for each of the properties below, then for each packet four vectors of eight
octaves, then two lists.  Functions take the block's address and the number of packets: all that are on their way stand
at its beginning without gaps.
"""

from __future__ import annotations

import math

from sim.propagation.energy.leg_kernels import (
    BEHIND_M,
    BOUNDARY_BYTES,
    boundary_at,
    facing,
    faded,
    fraction_of,
    next_surface,
    words_of,
)
from sim.rays.eight_kernels import NOTHING
from sim.rays.few_leaf_kernels import nearest_of_eight
from sim.rays.flight_kernels import QUERIES, nearest_in_flight
from sim.rays.kinds_of_kernels import inlined, part
from sim.rays.lanes import (
    above,
    add_at,
    below,
    greater,
    lane,
    load_double,
    load_doubles,
    load_whole,
    lowest,
    multiply_add,
    size_of,
    spread_double,
    store,
    where,
)
from sim.rays.query_kernels import ask, found_by, is_flat, reach_of
from sim.rays.ray_kernels import nearest_but

SENT_AT_ONCE, MOST = 128, 1024
"""New rays are sent while fewer packets are on their way; each may part in eight, one for each octave."""
ROWS, STRIDE = 18, MOST + 24
"""A row is longer than it need be, so that the beginnings of rows do not fall on the same lines of the cache."""
X, Y, Z, DX, DY, DZ, WAY, LEG, NX, NY, NZ, COSINE, HEARD, PLANE, FACET, MIRRORS, TURN, RAY = (
    8 * STRIDE * n for n in range(ROWS)
)
"""Place and direction; metres so far, and to the next surface; normal and cosine of incidence there; 1 where the sphere
about an ear counts the packet.  Whole numbers: plane and facet last met, mirrors and surfaces so far,
number of the ray."""
LOST = -1
"""In place of a facet: there was none, or only its back."""
CARRIED, FLOOR, GONE, BEGAN = (8 * STRIDE * ROWS + 64 * n for n in range(4))
"""Energies now, and where to give up; all that was taken so far, and what the packet began with."""
PACKET = 256
"""Bytes from one packet's energies to the next one's."""
ENDED = CARRIED + MOST * PACKET
SCATTERED = ENDED + 8 * MOST
"""Lists of packets."""
BLOCK = SCATTERED // 8 + MOST
"""Numbers of eight bytes in `slots`."""
ABSORBED, AIR, LEFT, LATE, ESCAPED, SENT = (64 * n for n in range(6))
"""Rows of the account: taken by surfaces and by air, given up as too weak or too late, lost through a hole, sent."""


@inlined
def hear(slots, i, ear, onward, fraction, hall):  # type: ignore[no-untyped-def]
    """Add a share of what packet i carries to an ear's energy, `onward` metres further on.

    hall: (address of energies, bins of an ear, speed, bin in s, rates of air in lanes, steepest of them).
    """
    energy_at, bins, speed, bin_s, rates, steepest = hall
    place = int((load_double(slots + WAY + 8 * i) + onward) / speed / bin_s)
    if place < bins:
        carried = load_doubles(slots + CARRIED + PACKET * i)
        add_at(
            energy_at + 64 * (ear * bins + place), carried * spread_double(fraction) * faded(rates, steepest, onward)
        )


@inlined
def begin(octaves, carried, floor):  # type: ignore[no-untyped-def]
    """Fill the four vectors of a new packet."""
    store(octaves + CARRIED, carried)
    store(octaves + FLOOR, floor)
    store(octaves + GONE, spread_double(0.0))
    store(octaves + BEGAN, carried)


@part
def copy(slots, i, k):  # type: ignore[no-untyped-def]
    """Make packet k the same as packet i."""
    for row in range(ROWS):
        at = slots + 8 * STRIDE * row
        store(at + 8 * k, load_whole(at + 8 * i))
    for octaves in range(slots + CARRIED, slots + CARRIED + PACKET, 64):
        store(octaves + PACKET * k, load_doubles(octaves + PACKET * i))


@part
def take_out(slots, n, ended, worst):  # type: ignore[no-untyped-def]
    """Close the gaps that packets on the list leave: the last one moves up.

    Returns (packets, in lanes the largest share by which what became of a packet differs from what it began with).
    """
    for k in range(ended - 1, -1, -1):
        i = load_whole(slots + ENDED + 8 * k)
        began = load_doubles(slots + BEGAN + PACKET * i)
        off = size_of(load_doubles(slots + GONE + PACKET * i) - began) / (began + spread_double(1.0e-300))
        worst = greater(off, worst)
        n -= 1
        if i != n:
            copy(slots, n, i)
        store(slots + HEARD + 8 * n, 0.0)
    return n, worst


# The steps of a tracer, each taken for all packets before the next is begun.
#
# A ray waits for its own last bounce; the ray beside it does not.  Step by step the processor looks for the next
# surface of several packets at once, and sums that are alike for all of them are done for eight in one vector.

ALL, MOST_BOUNCES = 255, 100_000


@part
def look_ahead(slots, n, places, other_side_at, queries):  # type: ignore[no-untyped-def]
    """Write to n packets how far it is to what they meet next, and the triangle; its plane is passed over."""
    if not is_flat(places):
        for first in range(0, n, QUERIES):
            count = min(QUERIES, n - first)
            for k in range(count):
                at = slots + 8 * (first + k)
                x, y, z, plane = load_double(at + X), load_double(at + Y), load_double(at + Z), load_whole(at + PLANE)
                dx, dy, dz = load_double(at + DX), load_double(at + DY), load_double(at + DZ)
                other = load_whole(other_side_at + 8 * plane)
                ask(queries, k, places, x, y, z, dx, dy, dz, -BEHIND_M, math.inf, plane, other, NOTHING)
            nearest_in_flight(places, queries, count, True)
            for k in range(count):
                store(slots + LEG + 8 * (first + k), max(reach_of(queries, k), 0.0))
                store(slots + FACET + 8 * (first + k), found_by(queries, k))
        return
    store(queries, spread_double(math.inf))
    for first in range(0, n, 8):
        count, block = min(8, n - first), slots + 8 * first
        for k in range(count):
            store(queries + 64 + 8 * k, load_whole(other_side_at + 8 * load_whole(block + PLANE + 8 * k)))
        rows = (block + X, block + Y, block + Z), (block + DX, block + DY, block + DZ)
        passed = block + PLANE, queries + 64
        outside = nearest_of_eight(places, count, rows, -BEHIND_M, queries, passed, block + LEG, block + FACET)
        while outside != 0:
            k = lowest(outside)
            outside &= outside - 1
            at = block + 8 * k
            x, y, z, plane = load_double(at + X), load_double(at + Y), load_double(at + Z), load_whole(at + PLANE)
            dx, dy, dz = load_double(at + DX), load_double(at + DY), load_double(at + DZ)
            other = load_whole(queries + 64 + 8 * k)
            leg, triangle = nearest_but(places, x, y, z, dx, dy, dz, -BEHIND_M, math.inf, plane, other, NOTHING)
            store(at + LEG, leg)
            store(at + FACET, triangle)
        store(block + LEG, greater(load_doubles(block + LEG), spread_double(0.0)))


@part
def find_next(slots, n, fresh, places, around, own, queries):  # type: ignore[no-untyped-def]
    """Look for the next surface of n packets.  Returns (queries, packets lost, metres and surfaces after the first).

    The last `fresh` of them are new, and their own box lets them out.  The others are asked for in the shortest way
    that is right for almost all: what it finds from behind, or not at all, is asked again with care.
    """
    look_ahead(slots, n - fresh, places, around[2], queries)
    asked_of_room, lost, metres, met = n - fresh, 0, 0.0, 0
    for at in range(slots, slots + 8 * n, 8):
        leg, triangle, turn = load_double(at + LEG), load_whole(at + FACET), load_whole(at + TURN)
        dx, dy, dz = load_double(at + DX), load_double(at + DY), load_double(at + DZ)
        facet, cosine = facing(around, triangle, dx, dy, dz)
        if not cosine > 0.0:
            leg, triangle, facet, cosine, is_lost, asked = next_surface(
                places,
                around,
                load_double(at + X),
                load_double(at + Y),
                load_double(at + Z),
                dx,
                dy,
                dz,
                load_whole(at + PLANE),
                own,
                turn,
            )
            asked_of_room += asked
            store(at + LEG, leg)
            if is_lost:
                store(at + FACET, LOST)
                lost += 1
                continue
        if turn > 0:
            metres, met = metres + leg, met + 1
        normal = around[1] + 24 * facet
        store(at + NX, load_double(normal))
        store(at + NY, load_double(normal + 8))
        store(at + NZ, load_double(normal + 16))
        store(at + COSINE, cosine)
        store(at + PLANE, load_whole(around[3] + 8 * triangle))
        store(at + FACET, facet)
        store(at + TURN, turn + 1)
    return asked_of_room, lost, metres, met


@part
def cross_spheres(slots, n, ears, hall):  # type: ignore[no-untyped-def]
    """Give each ear what crosses the sphere about it on this leg, unless images or rain have it already.

    ears: (address of places, of radii, how many); hall: see `hear`.
    """
    places_at, radii_at, listeners = ears
    zero = spread_double(0.0)
    for first in range(0, n, 8):
        at = slots + 8 * first
        counted = above(load_doubles(at + HEARD), zero)
        if counted == 0:
            continue
        x, y, z = load_doubles(at + X), load_doubles(at + Y), load_doubles(at + Z)
        dx, dy, dz = load_doubles(at + DX), load_doubles(at + DY), load_doubles(at + DZ)
        for ear in range(listeners):
            place, radius = places_at + 24 * ear, load_double(radii_at + 8 * ear)
            ex = spread_double(load_double(place)) - x
            ey = spread_double(load_double(place + 8)) - y
            ez = spread_double(load_double(place + 16)) - z
            along = ex * dx + ey * dy + ez * dz
            square = spread_double(radius * radius) - (ex * ex + ey * ey + ez * ez - along * along)
            bits = counted & above(square, zero)
            while bits != 0:
                k = lowest(bits)
                bits &= bits - 1
                half, leg = math.sqrt(lane(square, k)), load_double(at + LEG + 8 * k)
                begin, end = max(lane(along, k) - half, 0.0), min(lane(along, k) + half, leg)
                if end > begin:
                    fraction = (end - begin) / (4.0 / 3.0 * math.pi * radius**3)
                    hear(slots, first + k, ear, 0.5 * (begin + end), fraction, hall)


@part
def go_on(slots, n):  # type: ignore[no-untyped-def]
    """Move n packets to the surfaces found, and turn them as mirrors do."""
    for at in range(slots, slots + 8 * n, 64):
        leg, twice = load_doubles(at + LEG), load_doubles(at + COSINE)
        twice = twice + twice
        dx, dy, dz = load_doubles(at + DX), load_doubles(at + DY), load_doubles(at + DZ)
        store(at + X, multiply_add(leg, dx, load_doubles(at + X)))
        store(at + Y, multiply_add(leg, dy, load_doubles(at + Y)))
        store(at + Z, multiply_add(leg, dz, load_doubles(at + Z)))
        store(at + WAY, load_doubles(at + WAY) + leg)
        store(at + DX, multiply_add(twice, load_doubles(at + NX), dx))
        store(at + DY, multiply_add(twice, load_doubles(at + NY), dy))
        store(at + DZ, multiply_add(twice, load_doubles(at + NZ), dz))


@part
def sample(slots, n, key, fractions):  # type: ignore[no-untyped-def]
    """Write three random shares (3, MOST) for each of n packets: whether it scatters, and where to.

    Both blocks are arrays here, so that the compiler turns the loop into vectors.
    """
    for i in range(n):
        words = words_of(slots[RAY // 8 + i], slots[TURN // 8 + i], key)
        fractions[0, i], fractions[1, i], fractions[2, i] = (
            fraction_of(words[0]),
            fraction_of(words[1]),
            fraction_of(words[2]),
        )


@part
def meet(slots, n, order, fractions, boundaries, air, most_m, account):  # type: ignore[no-untyped-def]
    """Take from n packets what air and surface take, and draw whether they scatter.

    shares: address of what `sample` wrote; boundaries: (number of facets, addresses of first panels, panels, kept
    fractions and scattering); air: (rates, steepest).  Packets that end and packets that scatter are put on their
    lists; what mirrors and what scatters part.  Returns (packets, how many end, how many scatter).
    """
    facets, first_panel_at, panels_at, kept_at, scattering_at = boundaries
    rates, steepest = air
    zero = spread_double(0.0)
    absorbed, aired, left, late, escaped = zero, zero, zero, zero, zero
    total, ended, scattering = n, 0, 0
    for i in range(n):
        at, octaves = slots + 8 * i, slots + PACKET * i
        now, gone, facet = load_doubles(octaves + CARRIED), load_doubles(octaves + GONE), load_whole(at + FACET)
        if facet == LOST:
            escaped = escaped + now
            store(octaves + GONE, gone + now)
            store(slots + ENDED + 8 * ended, i)
            ended += 1
            continue
        boundary = BOUNDARY_BYTES * boundary_at(
            facet,
            load_whole(at + PLANE),
            load_double(at + X),
            load_double(at + Y),
            load_double(at + Z),
            facets,
            first_panel_at,
            panels_at,
        )
        arriving = now * faded(rates, steepest, load_double(at + LEG))
        rest = arriving * load_doubles(kept_at + boundary)
        aired, absorbed = aired + (now - arriving), absorbed + (arriving - rest)
        gone = gone + (now - arriving) + (arriving - rest)
        is_late = load_double(at + WAY) >= most_m
        if is_late:
            late, gone, rest = late + rest, gone + rest, zero
        given_up = ALL if load_whole(at + TURN) >= MOST_BOUNCES else below(rest, load_doubles(octaves + FLOOR))
        weak = where(given_up, rest, zero)
        left, gone, rest = left + weak, gone + weak, where(given_up, zero, rest)
        held = above(rest, zero)
        if held == 0:
            store(octaves + GONE, gone)
            store(slots + ENDED + 8 * ended, i)
            ended += 1
            continue
        chance = load_doubles(scattering_at + boundary)
        bits = held & above(chance, spread_double(load_double(fractions + 8 * i)))
        # as if it mirrored; `scatter` corrects that.  Which packets scatter cannot be guessed, so nothing waits for it
        mirrors = load_whole(at + MIRRORS)
        store(at + MIRRORS, mirrors + 1)
        store(at + HEARD, 1.0 if mirrors >= order else 0.0)
        store(slots + SCATTERED + 8 * scattering, i)
        scattering += int(bits != 0)
        if (bits != 0) & (bits != held):
            mirrored = where(bits, zero, rest)
            copy(slots, i, total)
            begin(slots + PACKET * total, mirrored, load_doubles(octaves + FLOOR))
            total += 1
            rest, gone = where(bits, rest, zero), gone + mirrored
        store(octaves + CARRIED, rest)
        store(octaves + GONE, gone)
    add_at(account + ABSORBED, absorbed)
    add_at(account + AIR, aired)
    add_at(account + LEFT, left)
    add_at(account + LATE, late)
    add_at(account + ESCAPED, escaped)
    return total, ended, scattering
