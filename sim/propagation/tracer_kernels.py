"""Rays that carry energy in eight octaves: arrays in, arrays out.

What travels is a bundle: octaves that have met the same fate so far.  At a surface one random number decides for all of
them: an octave whose scattering coefficient is above it leaves by Lambert's law, the others as from a mirror.  Where
octaves disagree the bundle parts in two, both with the same random numbers to come, so each octave gets bit for bit
what it would get if it were traced alone, without weights, and shares its rays as long as it can.

Tuples, as `sim.propagation.late_rays` fills them:

    source    (middle (3,), rotation (3, 3), table (polar, around, 8), own body, own plane, its normal (3,) or zeros)
    surfaces  (facet of triangle (n,), normal (f, 3), other side (plane,), first panel (plane + 1,), panels (m, 9),
               kept shares 1 - alpha (skin, 8), scattering (skin, 8)); skins: facets, then panels
    ears      (places (l, 3), radii (l,))
    travel    (air (8,) in 1/m, speed, bin in s, most metres, threshold)

The eight octaves lie side by side in one vector (see `sim.geometry.lanes`), and a whole number tells by its bits which
of them a bundle still holds.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

from ..geometry.lanes import (
    above,
    below,
    lane,
    load_doubles,
    multiply_add,
    scratch,
    size_of,
    spread_double,
    store,
    where,
)
from ..geometry.ray_kernels import addresses_of, is_hidden_at
from .leg_kernels import next_surface, surfaces_at
from .random_kernels import anywhere, philox, scattered, share_of

OCTAVES, ALL = 8, 255
ROW_BYTES, BUNDLES_BYTES = 64, 512
SERIES_UNTIL = 0.15
MOST_BOUNCES = 100_000
ABSORBED, AIR, LEFT, LATE, ESCAPED, SENT = 0, 1, 2, 3, 4, 5
"""Rows of the account: taken by surfaces and by air, given up as too weak or too late, lost through a hole, sent."""


@nb.njit(cache=True, forceinline=True)
def skin_at(facet, plane, x, y, z, facets, first_panel, panels):  # type: ignore[no-untyped-def]
    """Number of the skin at a point of a facet: that of a panel hung there, else the facet's own."""
    for i in range(first_panel[plane], first_panel[plane + 1]):
        rx, ry, rz = x - panels[i, 0], y - panels[i, 1], z - panels[i, 2]
        a = rx * panels[i, 3] + ry * panels[i, 4] + rz * panels[i, 5]
        b = rx * panels[i, 6] + ry * panels[i, 7] + rz * panels[i, 8]
        if 0.0 <= a <= 1.0 and 0.0 <= b <= 1.0:
            return facets + i
    return facet


@nb.njit(cache=True, forceinline=True)
def table_place(x, y, z, polar, around):  # type: ignore[no-untyped-def]
    """Row, next row, share of the next; column, next column, share of the next: where a direction is in a table."""
    row = math.acos(min(1.0, max(-1.0, x))) / math.pi * (polar - 1)
    i = min(int(row), polar - 2)
    turn = math.atan2(z, y) / (2.0 * math.pi)
    column = (turn - math.floor(turn)) * around
    j = int(column)
    return i, row - i, j % around, (j + 1) % around, column - j


@nb.njit(cache=True, forceinline=True)
def faded(rates, steepest, metres):  # type: ignore[no-untyped-def]
    """What is left of eight energies after a way through air: e^{-m L} lane by lane, right within 1e-13.

    e^{-x} = (e^{-x/n})^n, n = 8 or a larger power of two, by ten terms of the series for x/n up to 0.15.
    """
    halvings = 3
    metres = 0.125 * metres
    while steepest * metres > SERIES_UNTIL:
        metres *= 0.5
        halvings += 1
    x, one = rates * spread_double(-metres), spread_double(1.0)
    e = multiply_add(x, spread_double(1.0 / 10.0), one)
    e = multiply_add(x * spread_double(1.0 / 9.0), e, one)
    e = multiply_add(x * spread_double(1.0 / 8.0), e, one)
    e = multiply_add(x * spread_double(1.0 / 7.0), e, one)
    e = multiply_add(x * spread_double(1.0 / 6.0), e, one)
    e = multiply_add(x * spread_double(1.0 / 5.0), e, one)
    e = multiply_add(x * spread_double(1.0 / 4.0), e, one)
    e = multiply_add(x * spread_double(1.0 / 3.0), e, one)
    e = multiply_add(x * spread_double(1.0 / 2.0), e, one)
    e = multiply_add(x, e, one)
    for _ in range(halvings):
        e = e * e
    return e


@nb.njit(cache=True, forceinline=True)
def add_at(address, more):  # type: ignore[no-untyped-def]
    """Add eight numbers to those at an address."""
    store(address, load_doubles(address) + more)


@nb.njit(cache=True, nogil=True)
def trace_chunk(first, count, seed, stream, order, source, surfaces, ears, travel, rays, energy, account):  # type: ignore[no-untyped-def]
    """Trace rays first .. first + count - 1; add to energy (l, bin, 8) and account (6, 8).

    Every ray is sent with 4 pi times what the source sends into its direction, so that the mean over rays has the
    scale of `sim.propagation.late_rays`.  Returns (bounces, queries, worst imbalance of a ray's account, metres,
    surfaces met): the last two for the mean free path.
    """
    middle, rotation, table, own, own_plane, out = source
    facet_of, normals, other_side, first_panel, panels, kept, scattering = surfaces
    places_of, radii = ears
    air, speed, bin_s, most_m, threshold = travel
    plane_of, owner_of = rays[2], rays[3]
    places = addresses_of(*rays)
    around = surfaces_at(facet_of, normals, other_side, plane_of, owner_of)
    kept_at, scattering_at, energy_at = kept.ctypes.data, scattering.ctypes.data, energy.ctypes.data
    facets, listeners, bins = normals.shape[0], places_of.shape[0], energy.shape[1]
    low, high, lane_of = np.uint64(seed & 0xFFFFFFFF), np.uint64((seed >> 32) & 0xFFFFFFFF), np.uint64(stream)
    rates, steepest, zero = load_doubles(air.ctypes.data), air.max(), spread_double(0.0)
    waiting, began_at = scratch(BUNDLES_BYTES), scratch(ROW_BYTES)
    places_waiting, flags = np.zeros((OCTAVES, 7)), np.zeros((OCTAVES, 5), np.int64)
    sent_by_all, absorbed_by_all, aired_by_all, left_by_all, late_by_all, lost_by_all = (
        zero,
        zero,
        zero,
        zero,
        zero,
        zero,
    )
    bounces, queries, worst, metres, met = 0, 0, 0.0, 0.0, 0
    for ray in range(first, first + count):
        ray_low, ray_high = np.uint64(ray & 0xFFFFFFFF), np.uint64(ray >> 32)
        words = philox(ray_low, ray_high, np.uint64(0), lane_of, low, high)
        dx, dy, dz = anywhere(share_of(words[0]), share_of(words[1]))
        forward = dx * rotation[0, 0] + dy * rotation[1, 0] + dz * rotation[2, 0]
        right = dx * rotation[0, 1] + dy * rotation[1, 1] + dz * rotation[2, 1]
        up = dx * rotation[0, 2] + dy * rotation[1, 2] + dz * rotation[2, 2]
        # what is built into a wall sends nothing behind it, where the table only fades out
        sends = 4.0 * math.pi if own_plane < 0 or dx * out[0] + dy * out[1] + dz * out[2] > 0.0 else 0.0
        i, p, j, k, q = table_place(forward, right, up, table.shape[0], table.shape[1])
        for b in range(OCTAVES):
            here = (1.0 - q) * table[i, j, b] + q * table[i, k, b]
            below_it = (1.0 - q) * table[i + 1, j, b] + q * table[i + 1, k, b]
            store(began_at + 8 * b, sends * ((1.0 - p) * here + p * below_it))
        began = load_doubles(began_at)
        floor = began * spread_double(threshold)
        absorbed, aired, left, late, lost = zero, zero, zero, zero, zero
        store(waiting, began)
        places_waiting[0, 0], places_waiting[0, 1], places_waiting[0, 2] = middle[0], middle[1], middle[2]
        places_waiting[0, 3], places_waiting[0, 4], places_waiting[0, 5], places_waiting[0, 6] = dx, dy, dz, 0.0
        # bounces so far, mirrors so far, whether anything scattered, whether the last surface was a mirror, its plane
        flags[0, 0], flags[0, 1], flags[0, 2], flags[0, 3], flags[0, 4] = 0, 0, 0, 0, own_plane
        height = 1
        while height > 0:
            height -= 1
            x, y, z = places_waiting[height, 0], places_waiting[height, 1], places_waiting[height, 2]
            dx, dy, dz = places_waiting[height, 3], places_waiting[height, 4], places_waiting[height, 5]
            way, now = places_waiting[height, 6], load_doubles(waiting + ROW_BYTES * height)
            turn, mirrors, strayed = flags[height, 0], flags[height, 1], flags[height, 2]
            mirrored, plane = flags[height, 3], flags[height, 4]
            held = above(now, zero)
            while held != 0:
                leg, triangle, f, cosine, is_lost, asked = next_surface(
                places, around, x, y, z, dx, dy, dz, plane, own, turn
            )  # fmt: skip
                queries += asked
                # what crosses the sphere about an ear, unless images or rain have it already
                if mirrored == 1 and (strayed == 1 or mirrors > order):
                    for ear in range(listeners):
                        ex, ey, ez = places_of[ear, 0] - x, places_of[ear, 1] - y, places_of[ear, 2] - z
                        along = ex * dx + ey * dy + ez * dz
                        square = radii[ear] * radii[ear] - (ex * ex + ey * ey + ez * ez - along * along)
                        if square <= 0.0:
                            continue
                        half = math.sqrt(square)
                        begin, end = max(along - half, 0.0), min(along + half, leg)
                        if end <= begin:
                            continue
                        halfway = 0.5 * (begin + end)
                        place = int((way + halfway) / speed / bin_s)
                        if place < bins:
                            share = spread_double((end - begin) / (4.0 / 3.0 * math.pi * radii[ear] ** 3))
                            here_at = energy_at + ROW_BYTES * (ear * bins + place)
                            add_at(here_at, now * share * faded(rates, steepest, halfway))
                if is_lost:
                    lost = lost + now
                    break
                x, y, z, way, turn = x + leg * dx, y + leg * dy, z + leg * dz, way + leg, turn + 1
                if turn > 1:
                    metres += leg
                    met += 1
                bounces += 1
                plane = plane_of[triangle]
                nx, ny, nz = normals[f, 0], normals[f, 1], normals[f, 2]
                skin = skin_at(f, plane, x, y, z, facets, first_panel, panels)
                arriving = now * faded(rates, steepest, leg)
                rest = arriving * load_doubles(kept_at + ROW_BYTES * skin)
                aired, absorbed = aired + (now - arriving), absorbed + (arriving - rest)
                if way >= most_m:
                    late = late + rest
                    break
                given_up = ALL if turn >= MOST_BOUNCES else below(rest, floor)
                left = left + where(given_up, rest, zero)
                now = where(given_up, zero, rest)
                held = above(now, zero)
                if held == 0:
                    break
                rough = load_doubles(scattering_at + ROW_BYTES * skin)
                scatter_bits = 0
                if above(rough, zero) != 0:
                    words = philox(ray_low, ray_high, np.uint64(turn), lane_of, low, high)
                    scatter_bits = held & above(rough, spread_double(share_of(words[0])))
                twice = 2.0 * cosine
                mx, my, mz = dx + twice * nx, dy + twice * ny, dz + twice * nz
                if scatter_bits == 0:
                    dx, dy, dz, mirrors, mirrored = mx, my, mz, mirrors + 1, 1
                    continue
                if scatter_bits != held:
                    # the mirrored octaves wait, the scattered ones go on
                    store(waiting + ROW_BYTES * height, where(scatter_bits, zero, now))
                    now = where(scatter_bits, now, zero)
                    held = scatter_bits
                    places_waiting[height, 0], places_waiting[height, 1], places_waiting[height, 2] = x, y, z
                    places_waiting[height, 3], places_waiting[height, 4], places_waiting[height, 5] = mx, my, mz
                    places_waiting[height, 6] = way
                    flags[height, 0], flags[height, 1], flags[height, 2] = turn, mirrors + 1, strayed
                    flags[height, 3], flags[height, 4] = 1, plane
                    height += 1
                for ear in range(listeners):
                    ex, ey, ez = places_of[ear, 0] - x, places_of[ear, 1] - y, places_of[ear, 2] - z
                    lift = ex * nx + ey * ny + ez * nz
                    if lift <= 0.0:
                        continue
                    far = math.sqrt(ex * ex + ey * ey + ez * ez)
                    place = int((way + far) / speed / bin_s)
                    if place >= bins:
                        continue
                    queries += 1
                    if is_hidden_at(
                        places, x, y, z, places_of[ear, 0], places_of[ear, 1], places_of[ear, 2],
                        plane, other_side[plane], -1,
                    ):  # fmt: skip
                        continue
                    share = spread_double(lift / (math.pi * max(far, radii[ear]) ** 3))
                    add_at(energy_at + ROW_BYTES * (ear * bins + place), now * share * faded(rates, steepest, far))
                dx, dy, dz = scattered(nx, ny, nz, share_of(words[1]), share_of(words[2]))
                strayed, mirrored = 1, 0
        gone = absorbed + aired + left + late + lost
        off = size_of(gone - began) / (began + spread_double(1.0e-300))
        for b in range(OCTAVES):
            worst = max(worst, lane(off, b))
        sent_by_all, absorbed_by_all, aired_by_all = (
            sent_by_all + began,
            absorbed_by_all + absorbed,
            aired_by_all + aired,
        )
        left_by_all, late_by_all, lost_by_all = left_by_all + left, late_by_all + late, lost_by_all + lost
    account_at = account.ctypes.data
    add_at(account_at + ROW_BYTES * ABSORBED, absorbed_by_all)
    add_at(account_at + ROW_BYTES * AIR, aired_by_all)
    add_at(account_at + ROW_BYTES * LEFT, left_by_all)
    add_at(account_at + ROW_BYTES * LATE, late_by_all)
    add_at(account_at + ROW_BYTES * ESCAPED, lost_by_all)
    add_at(account_at + ROW_BYTES * SENT, sent_by_all)
    return bounces, queries, worst, metres, met
