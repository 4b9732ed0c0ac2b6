"""Random numbers that depend on nothing but their place: Philox4x32-10 and the directions made from it.

Salmon, Moraes, Dror & Shaw, Parallel random numbers: as easy as 1, 2, 3 (SC11, 2011).  A counter of four words is
turned by a key of two words into four new words; there is no state, so every ray has its own numbers whatever thread
traces it and in whatever order.
"""

from __future__ import annotations

import math

import numpy as np

from sim.rays.kinds_of_kernels import inlined, part
from sim.rays.lanes import load_double, load_doubles, load_whole, multiply_add, spread_double
from sim.rays.ray_kernels import nearest_but

FIRST_FACTOR = np.uint64(0xD2511F53)
SECOND_FACTOR = np.uint64(0xCD9E8D57)
FIRST_STEP = np.uint64(0x9E3779B9)
SECOND_STEP = np.uint64(0xBB67AE85)
WORD = np.uint64(0xFFFFFFFF)
HALF = np.uint64(32)
ROUNDS = 10
UNIT = 2.0**-32


@inlined
def philox(c0, c1, c2, c3, k0, k1):  # type: ignore[no-untyped-def]
    """Four words of 32 bits from a counter of four and a key of two, all as unsigned 64-bit numbers."""
    for _ in range(ROUNDS):
        first, second = FIRST_FACTOR * c0, SECOND_FACTOR * c2
        c0, c1, c2, c3 = (second >> HALF) ^ c1 ^ k0, second & WORD, (first >> HALF) ^ c3 ^ k1, first & WORD
        k0, k1 = (k0 + FIRST_STEP) & WORD, (k1 + SECOND_STEP) & WORD
    return c0, c1, c2, c3


@inlined
def key_of(seed, stream):  # type: ignore[no-untyped-def]
    """Key of a seed (np.uint64) and the number of a stream, as `words_of` takes it."""
    return np.uint64(stream), np.uint64(seed & 0xFFFFFFFF), np.uint64((seed >> 32) & 0xFFFFFFFF)


@inlined
def words_of(ray, turn, key):  # type: ignore[no-untyped-def]
    """Four words of 32 bits that belong to a ray after so many surfaces, and to nothing else."""
    number, (stream, low, high) = np.uint64(ray), key
    return philox(number & WORD, number >> HALF, np.uint64(turn), stream, low, high)


@inlined
def fraction_of(word):  # type: ignore[no-untyped-def]
    """A number between 0 and 1, neither of them, from a word: the middle of one of 2^32 equal steps."""
    return (np.float64(word) + 0.5) * UNIT


@inlined
def anywhere(u, v):  # type: ignore[no-untyped-def]
    """A direction, all equally likely, from two shares."""
    z = 1.0 - 2.0 * u
    across = math.sqrt(max(0.0, 1.0 - z * z))
    turn = 2.0 * math.pi * v
    return across * math.cos(turn), across * math.sin(turn), z


@inlined
def scattered(nx, ny, nz, u, v):  # type: ignore[no-untyped-def]
    """A direction by Lambert's law about the unit normal n: density cos(t)/pi (Kuttruff, Room Acoustics)."""
    cosine, across = math.sqrt(1.0 - u), math.sqrt(u)
    turn = 2.0 * math.pi * v
    a, b = across * math.cos(turn), across * math.sin(turn)
    # two directions square to n: Duff et al., Building an orthonormal basis, revisited (JCGT 6, 2017)
    sign = math.copysign(1.0, nz)
    c = -1.0 / (sign + nz)
    d = nx * ny * c
    x = a * (1.0 + sign * nx * nx * c) + b * d + cosine * nx
    y = a * sign * d + b * (sign + ny * ny * c) + cosine * ny
    z = -a * sign * nx - b * ny + cosine * nz
    return x, y, z


# A ray's way: what it carries from the loudspeaker, the next surface, and what surfaces, panels and air leave.

OCTAVES = 8


@inlined
def table_place(x, y, z, polar, around):  # type: ignore[no-untyped-def]
    """Row, next row, share of the next; column, next column, share of the next: where a direction is in a table."""
    row = math.acos(min(1.0, max(-1.0, x))) / math.pi * (polar - 1)
    i = min(int(row), polar - 2)
    turn = math.atan2(z, y) / (2.0 * math.pi)
    column = (turn - math.floor(turn)) * around
    j = int(column)
    return i, row - i, j % around, (j + 1) % around, column - j


@inlined
def send(dx, dy, dz, source):  # type: ignore[no-untyped-def]
    """Return, octave by octave in lanes, 4 pi times what a source sends into a direction.

    source: see `tracer_kernels`.  With the factor the mean over all directions is the whole power.
    """
    _, rotation, table, _, own_plane, out = source
    # what is built into a wall sends nothing behind it, where the table only fades out
    if own_plane >= 0 and dx * out[0] + dy * out[1] + dz * out[2] <= 0.0:
        return spread_double(0.0)
    forward = dx * rotation[0, 0] + dy * rotation[1, 0] + dz * rotation[2, 0]
    right = dx * rotation[0, 1] + dy * rotation[1, 1] + dz * rotation[2, 1]
    up = dx * rotation[0, 2] + dy * rotation[1, 2] + dz * rotation[2, 2]
    around = table.shape[1]
    i, p, j, k, q = table_place(forward, right, up, table.shape[0], around)
    row, below, table_at = around * i, around * (i + 1), table.ctypes.data
    p, q, one = spread_double(p), spread_double(q), spread_double(1.0)
    here = (one - q) * load_doubles(table_at + 64 * (row + j)) + q * load_doubles(table_at + 64 * (row + k))
    next_row = (one - q) * load_doubles(table_at + 64 * (below + j)) + q * load_doubles(table_at + 64 * (below + k))
    return spread_double(4.0 * math.pi) * ((one - p) * here + p * next_row)


# The next surface on a ray's way through a room: what both tracers ask after every bounce.

BEHIND_M = 1.0e-9
"""A start that rounding put this far behind a neighbouring wall in a corner still meets it."""
SAME_PLACE_M = 1.0e-7
TRIES = 5
"""Most times the next surface is looked for: past own box, past the other side of a sheet, past a neighbour."""


@inlined
def surfaces_at(facet_of, normals, other_side, plane_of, owner_of):  # type: ignore[no-untyped-def]
    """Addresses of facet, plane and owner of each triangle, facets' normals and planes' other sides.

    They are taken once, outside all loops; the kernel must have the arrays as arguments.
    """
    return (
        facet_of.ctypes.data,
        normals.ctypes.data,
        other_side.ctypes.data,
        plane_of.ctypes.data,
        owner_of.ctypes.data,
    )


@inlined
def facing(surfaces, triangle, dx, dy, dz):  # type: ignore[no-untyped-def]
    """Return (facet, cosine of incidence) of a triangle: below 0 from behind, -1 where there is no triangle."""
    if triangle < 0:
        return 0, -1.0
    f = load_whole(surfaces[0] + 8 * triangle)
    n = surfaces[1] + 24 * f
    return f, -(dx * load_double(n) + dy * load_double(n + 8) + dz * load_double(n + 16))


@part
def next_surface(places, surfaces, x, y, z, dx, dy, dz, plane, own, turn):  # type: ignore[no-untyped-def]
    """Return (metres to it, triangle, facet, cosine of incidence, whether the ray is lost, queries) of a ray.

    places: of `addresses_of`; surfaces: of `surfaces_at`; plane: that of the surface it leaves, or -1; turn: bounces so
    far, 0 while the own box lets it out.  A surface met from behind is the other side of a sheet or a neighbour left in
    an edge; or the ray came up from under its own box, which lets it out as it did on the first leg.
    """
    passed, body = load_whole(surfaces[2] + 8 * plane) if plane >= 0 else -1, own if turn == 0 else -1
    t_min, behind, t, triangle, cosine, f, queries = -BEHIND_M, -1.0, math.inf, -1, 0.0, 0, 0
    while queries < TRIES:
        t, triangle = nearest_but(places, x, y, z, dx, dy, dz, t_min, math.inf, plane, passed, body)
        queries += 1
        f, cosine = facing(surfaces, triangle, dx, dy, dz)
        if triangle < 0 or cosine > 0.0:
            break
        if behind < 0.0 and load_whole(surfaces[4] + 8 * triangle) != own:
            behind = t
        t_min, passed = t - SAME_PLACE_M, load_whole(surfaces[3] + 8 * triangle)
    lost = not cosine > 0.0 or (behind > SAME_PLACE_M and t > behind + SAME_PLACE_M)
    return max(t, 0.0), triangle, f, cosine, lost, queries


# What sound meets on its way and what that leaves of it: panels on surfaces, and air.

BOUNDARY_BYTES = 64
"""One row of eight octaves of a boundary, as `sim.propagation.energy.boundaries` lists them."""
PANEL_BYTES = 72
SERIES_UNTIL = 0.03


@inlined
def boundary_at(facet, plane, x, y, z, facets, first_panel_at, panels_at):  # type: ignore[no-untyped-def]
    """Number of the boundary at a point of a facet: that of a panel hung there, else the facet's own.

    first_panel_at, panels_at: addresses of `Boundaries.first_panel` and `Boundaries.panels`.
    """
    for i in range(load_whole(first_panel_at + 8 * plane), load_whole(first_panel_at + 8 * plane + 8)):
        panel = panels_at + PANEL_BYTES * i
        rx, ry, rz = x - load_double(panel), y - load_double(panel + 8), z - load_double(panel + 16)
        a = rx * load_double(panel + 24) + ry * load_double(panel + 32) + rz * load_double(panel + 40)
        b = rx * load_double(panel + 48) + ry * load_double(panel + 56) + rz * load_double(panel + 64)
        if 0.0 <= a <= 1.0 and 0.0 <= b <= 1.0:
            return facets + i
    return facet


@inlined
def faded(rates, steepest, metres):  # type: ignore[no-untyped-def]
    """What is left of eight energies after a way through air: e^{-m L} lane by lane.

    rates: m of the eight octaves in 1/m; steepest: the largest of them.  e^{-x} = (e^{-x/n})^n, n = 8 or a larger power
    of two, by six terms of the series for x/n up to 0.03: the first left out is 5e-15 for each of the n.  Right within
    1e-13 of what there was, as long as the steepest loses no more than 12 nepers (52 dB).
    """
    short = 0.125 * metres
    while steepest * short > SERIES_UNTIL:
        short *= 0.5
    x, one = rates * spread_double(-short), spread_double(1.0)
    e = multiply_add(x, spread_double(1.0 / 720.0), spread_double(1.0 / 120.0))
    e = multiply_add(x, e, spread_double(1.0 / 24.0))
    e = multiply_add(x, e, spread_double(1.0 / 6.0))
    e = multiply_add(x, multiply_add(x, e, spread_double(0.5)), one)
    e = multiply_add(x, e, one)
    e = e * e
    e = e * e
    e = e * e
    # longer ways than some ten metres at 8 kHz were halved more often
    while short < 0.1 * metres:
        short *= 2.0
        e = e * e
    return e
