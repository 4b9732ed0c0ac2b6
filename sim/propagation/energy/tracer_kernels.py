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
of them something holds for.  Packets stand side by side in `slots`
and are taken on step by step (see `step_kernels`).
"""

from __future__ import annotations

from sim.propagation.energy.leg_kernels import (
    OCTAVES,
    anywhere,
    fraction_of,
    key_of,
    send,
    surfaces_at,
    words_of,
)
from sim.propagation.energy.scatter_kernels import scatter
from sim.propagation.energy.step_kernels import (
    DX,
    DY,
    DZ,
    FACET,
    HEARD,
    LOST,
    MIRRORS,
    MOST,
    PACKET,
    PLANE,
    RAY,
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
    meet,
    sample,
    take_out,
)
from sim.rays.kinds_of_kernels import kernel, part, whole
from sim.rays.lanes import above, add_at, lane, load_doubles, spread_double, store
from sim.rays.query_kernels import keep, queries_at
from sim.rays.ray_kernels import addresses_of


@kernel
def trace_chunk(first, count, seed, stream, order, source, surfaces, ears, travel, rays, work, sums):  # type: ignore[no-untyped-def]
    """Trace rays first .. first + count - 1; add to sums, (energy (l, bin, 8), account (6, 8)).

    work: (`step_kernels.BLOCK` whole numbers, (3, `MOST`) numbers, `query_kernels.QUERY_BLOCK` numbers) to work in.
    Every ray is sent with 4 pi times what the source sends into its direction, so that the mean over rays has the
    scale of `late_rays`.
    Returns (bounces, queries, worst imbalance of a packet's account, metres, surfaces met): the last two for the mean
    free path.
    """
    (slots, fractions, space), (energy, account) = work, sums
    queries = queries_at(space)
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
    n, ray, bounces, lines, worst, metres, met = whole(0), first, 0, 0, spread_double(0.0), 0.0, 0
    while True:
        known = n
        while n < SENT_AT_ONCE and ray < first + count:
            n += set_out(block, n, ray, key, source, threshold, account_at)
            ray += 1
        if n == 0:
            break
        asked, lost, more_metres, more_met = find_next(block, n, n - known, places, around, own, queries)
        lines, bounces, metres, met = lines + asked, bounces + n - lost, metres + more_metres, met + more_met
        cross_spheres(block, n, listening, hall)
        go_on(block, n)
        sample(slots, n, key, fractions)
        n, ended, scattering_now = meet(block, n, order, fractions.ctypes.data, boundaries, fading, most_m, account_at)
        lines += scatter(
            block, scattering_now, order, fractions.ctypes.data, places, around[2], listening, hall, queries
        )
        n, worst = take_out(block, n, ended, worst)
    most = 0.0
    for b in range(OCTAVES):
        most = max(most, lane(worst, b))
    keep(space)
    return bounces, lines, most, metres, met


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
