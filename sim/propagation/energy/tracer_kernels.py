"""Rays that carry energy in eight octaves: arrays in, arrays out.

What travels is a packet: octaves that have met the same fate so far.  At a surface one random number decides for all of
them: an octave whose scattering coefficient is above it leaves by Lambert's law, the others as from a mirror.  Where
octaves disagree the packet parts in two, both with the same random numbers to come, so each octave goes the ways it
would go if it were traced alone, without weights, and shares its rays as long as it can.

Tuples, as `sim.propagation.energy.late_rays` fills them:

    source    (middle (3,), rotation (3, 3), table (polar, around, 8), own body, own plane, its normal (3,) or zeros)
    surfaces  (facet of triangle (n,), normal (f, 3), other side (plane,), first panel (plane + 1,), panels (m, 9),
               kept shares 1 - alpha (boundary, 8), scattering (boundary, 8)); boundaries: facets, then panels
    ears      (places (l, 3), radii (l,))
    travel    (air (8,) in 1/m, largest of them, speed, bin in s, most metres, threshold)

The eight octaves lie side by side in one vector (see `sim.rays.lanes`), and a whole number tells by its bits which
of them something holds for.  Packets stand side by side in `slots` (see `bundle_kernels`)
and are taken on step by step (see `step_kernels`).
"""

from __future__ import annotations

import math

from sim.propagation.energy.leg_kernels import (
    OCTAVES,
    anywhere,
    fraction_of,
    key_of,
    scattered,
    send,
    surfaces_at,
    words_of,
)
from sim.propagation.energy.step_kernels import (
    DX,
    DY,
    DZ,
    FACET,
    HEARD,
    LOST,
    MIRRORS,
    MOST,
    NX,
    NY,
    NZ,
    PACKET,
    PLANE,
    RAY,
    SCATTERED,
    SENT,
    SENT_AT_ONCE,
    TURN,
    WAY,
    X,
    Y,
    Z,
    begin,
    cross_spheres,
    find_next,
    go_on,
    hear,
    meet,
    sample,
    take_out,
)
from sim.rays.eight_kernels import NOTHING
from sim.rays.kinds_of_kernels import kernel, part, whole
from sim.rays.lanes import above, add_at, lane, load_double, load_doubles, load_whole, spread_double, store
from sim.rays.ray_kernels import addresses_of, is_hidden_at


@kernel
def trace_chunk(first, count, seed, stream, order, source, surfaces, ears, travel, rays, work, sums):  # type: ignore[no-untyped-def]
    """Trace rays first .. first + count - 1; add to sums, (energy (l, bin, 8), account (6, 8)).

    work: (`bundle_kernels.BLOCK` whole numbers, (3, `MOST`) numbers) to work in.  Every ray is sent with 4 pi times
    what the source sends into its direction, so that the mean over rays has the scale of `late_rays`.
    Returns (bounces, queries, worst imbalance of a packet's account, metres, surfaces met): the last two for the mean
    free path.
    """
    (slots, fractions), (energy, account) = work, sums
    own = source[3]
    facet_of, normals, other_side, first_panel, panels, kept, scattering = surfaces
    air, steepest, speed, bin_s, most_m, threshold = travel
    places = addresses_of(*rays)
    around = surfaces_at(facet_of, normals, other_side, rays[2], rays[3])
    block, account_at = slots.ctypes.data, account.ctypes.data
    fading = load_doubles(air.ctypes.data), steepest
    boundaries = (
        normals.shape[0],
        first_panel.ctypes.data,
        panels.ctypes.data,
        kept.ctypes.data,
        scattering.ctypes.data,
    )
    listening = ears[0].ctypes.data, ears[1].ctypes.data, ears[0].shape[0]
    hall = energy.ctypes.data, energy.shape[1], speed, bin_s, *fading
    key = key_of(seed, stream)
    for k in range(MOST):
        store(block + HEARD + 8 * k, 0.0)
    n, ray, bounces, queries, worst, metres, met = whole(0), first, 0, 0, spread_double(0.0), 0.0, 0
    while True:
        known = n
        while n < SENT_AT_ONCE and ray < first + count:
            n += set_out(block, n, ray, key, source, threshold, account_at)
            ray += 1
        if n == 0:
            break
        asked, lost, more_metres, more_met = find_next(block, n, n - known, places, around, own)
        queries, bounces, metres, met = queries + asked, bounces + n - lost, metres + more_metres, met + more_met
        cross_spheres(block, n, listening, hall)
        go_on(block, n)
        sample(slots, n, key, fractions)
        n, ended, scattering_now = meet(block, n, order, fractions.ctypes.data, boundaries, fading, most_m, account_at)
        queries += scatter(block, scattering_now, order, fractions.ctypes.data, places, around[2], listening, hall)
        n, worst = take_out(block, n, ended, worst)
    most = 0.0
    for b in range(OCTAVES):
        most = max(most, lane(worst, b))
    return bounces, queries, most, metres, met


@part
def set_out(slots, n, ray, key, source, threshold, account):  # type: ignore[no-untyped-def]
    """Send a ray as packet n.  Returns how many packets that makes: none where the source sends nothing."""
    middle, _, _, _, own_plane, _ = source
    words = words_of(ray, whole(0), key)
    dx, dy, dz = anywhere(fraction_of(words[0]), fraction_of(words[1]))
    at, octaves = slots + 8 * n, slots + PACKET * n
    began = send(dx, dy, dz, source)
    if above(began, spread_double(0.0)) == 0:
        return 0
    add_at(account + SENT, began)
    begin(octaves, began, began * spread_double(threshold))
    store(at + X, middle[0])
    store(at + Y, middle[1])
    store(at + Z, middle[2])
    store(at + DX, dx)
    store(at + DY, dy)
    store(at + DZ, dz)
    store(at + WAY, 0.0)
    store(at + HEARD, 0.0)
    store(at + PLANE, own_plane)
    store(at + FACET, LOST)
    store(at + MIRRORS, 0)
    store(at + TURN, 0)
    store(at + RAY, ray)
    return 1


@part
def scatter(slots, count, order, fractions, places, other_side_at, ears, hall):  # type: ignore[no-untyped-def]
    """Let the packets on the list rain on the ears and go on by Lambert's law.  Returns how many lines of sight.

    shares: address of what `sample` wrote.
    """
    places_at, radii_at, listeners = ears
    queries = 0
    for entry in range(slots + SCATTERED, slots + SCATTERED + 8 * count, 8):
        i = load_whole(entry)
        at = slots + 8 * i
        x, y, z, plane = load_double(at + X), load_double(at + Y), load_double(at + Z), load_whole(at + PLANE)
        nx, ny, nz = load_double(at + NX), load_double(at + NY), load_double(at + NZ)
        for ear in range(listeners):
            ear_x, ear_y = load_double(places_at + 24 * ear), load_double(places_at + 24 * ear + 8)
            ear_z, radius = load_double(places_at + 24 * ear + 16), load_double(radii_at + 8 * ear)
            ex, ey, ez = ear_x - x, ear_y - y, ear_z - z
            lift = ex * nx + ey * ny + ez * nz
            if lift <= 0.0:
                continue
            queries += 1
            if is_hidden_at(
                places, x, y, z, ear_x, ear_y, ear_z, plane, load_whole(other_side_at + 8 * plane), NOTHING
            ):
                continue
            far = math.sqrt(ex * ex + ey * ey + ez * ez)
            hear(slots, i, ear, far, lift / (math.pi * max(far, radius) ** 3), hall)
        turned = fractions + 8 * (MOST + i)
        dx, dy, dz = scattered(nx, ny, nz, load_double(turned), load_double(turned + 8 * MOST))
        store(at + DX, dx)
        store(at + DY, dy)
        store(at + DZ, dz)
        store(at + HEARD, 0.0)
        # whatever comes from a mirror counts from now on
        store(at + MIRRORS, order)
    return queries
