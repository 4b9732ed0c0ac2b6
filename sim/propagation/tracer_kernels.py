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
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

from ..geometry.ray_kernels import addresses_of, is_hidden_at, nearest_but
from .random_kernels import anywhere, philox, scattered, share_of

OCTAVES = 8
BEHIND_M = 1.0e-9
"""A start that rounding put this far behind a neighbouring wall in a corner still meets it."""
SAME_PLACE_M = 1.0e-7
MOST_BOUNCES = 100_000
TRIES = 5
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


@nb.njit(cache=True, nogil=True)
def trace_chunk(first, count, seed, stream, order, source, surfaces, ears, travel, rays, energy, account):  # type: ignore[no-untyped-def]
    """Trace rays first .. first + count - 1; add to energy (l, 8, bin) and account (6, 8).

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
    facets, listeners, bins = normals.shape[0], places_of.shape[0], energy.shape[2]
    low, high = np.uint64(seed & 0xFFFFFFFF), np.uint64((seed >> 32) & 0xFFFFFFFF)
    began, gone, now = np.zeros(OCTAVES), np.zeros(OCTAVES), np.zeros(OCTAVES)
    waiting = np.zeros((OCTAVES, OCTAVES))
    where, flags = np.zeros((OCTAVES, 7)), np.zeros((OCTAVES, 5), np.int64)
    bounces, queries, worst, metres, met = 0, 0, 0.0, 0.0, 0
    for ray in range(first, first + count):
        ray_low, ray_high = np.uint64(ray & 0xFFFFFFFF), np.uint64(ray >> 32)
        words = philox(ray_low, ray_high, np.uint64(0), np.uint64(stream), low, high)
        dx, dy, dz = anywhere(share_of(words[0]), share_of(words[1]))
        forward = dx * rotation[0, 0] + dy * rotation[1, 0] + dz * rotation[2, 0]
        right = dx * rotation[0, 1] + dy * rotation[1, 1] + dz * rotation[2, 1]
        up = dx * rotation[0, 2] + dy * rotation[1, 2] + dz * rotation[2, 2]
        # what is built into a wall sends nothing behind it, where the table only fades out
        sends = 4.0 * math.pi if own_plane < 0 or dx * out[0] + dy * out[1] + dz * out[2] > 0.0 else 0.0
        i, p, j, k, q = table_place(forward, right, up, table.shape[0], table.shape[1])
        for b in range(OCTAVES):
            here = (1.0 - q) * table[i, j, b] + q * table[i, k, b]
            below = (1.0 - q) * table[i + 1, j, b] + q * table[i + 1, k, b]
            began[b] = sends * ((1.0 - p) * here + p * below)
            waiting[0, b], gone[b] = began[b], 0.0
            account[SENT, b] += began[b]
        where[0, 0], where[0, 1], where[0, 2] = middle[0], middle[1], middle[2]
        where[0, 3], where[0, 4], where[0, 5], where[0, 6] = dx, dy, dz, 0.0
        # bounces so far, mirrors so far, whether anything scattered, whether the last surface was a mirror, its plane
        flags[0, 0], flags[0, 1], flags[0, 2], flags[0, 3], flags[0, 4] = 0, 0, 0, 0, own_plane
        height = 1
        while height > 0:
            height -= 1
            x, y, z = where[height, 0], where[height, 1], where[height, 2]
            dx, dy, dz, way = where[height, 3], where[height, 4], where[height, 5], where[height, 6]
            turn, mirrors, strayed = flags[height, 0], flags[height, 1], flags[height, 2]
            mirrored, plane = flags[height, 3], flags[height, 4]
            alive = False
            for b in range(OCTAVES):
                now[b] = waiting[height, b]
                alive = alive or now[b] > 0.0
            while alive:
                # The next surface.  One met from behind is the other side of a sheet or a neighbour left in an edge; or
                # the ray came up from under its own box, which lets it out as it did on the first leg.
                pass_a, pass_b = plane, other_side[plane] if plane >= 0 else -1
                t_min, behind, t, triangle, cosine = -BEHIND_M, -1.0, math.inf, -1, 0.0
                body = own if turn == 0 else -1
                for _ in range(TRIES):
                    t, triangle = nearest_but(places, x, y, z, dx, dy, dz, t_min, math.inf, pass_a, pass_b, body)
                    queries += 1
                    if triangle < 0:
                        break
                    f = facet_of[triangle]
                    cosine = -(dx * normals[f, 0] + dy * normals[f, 1] + dz * normals[f, 2])
                    if cosine > 0.0:
                        break
                    if behind < 0.0 and owner_of[triangle] != own:
                        behind = t
                    t_min, pass_b = t - SAME_PLACE_M, plane_of[triangle]
                leak = triangle < 0 or not cosine > 0.0 or (behind > SAME_PLACE_M and t > behind + SAME_PLACE_M)
                leg = max(t, 0.0)
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
                            share = (end - begin) / (4.0 / 3.0 * math.pi * radii[ear] ** 3)
                            for b in range(OCTAVES):
                                energy[ear, b, place] += now[b] * share * math.exp(-air[b] * halfway)
                if leak:
                    for b in range(OCTAVES):
                        account[ESCAPED, b] += now[b]
                        gone[b] += now[b]
                    break
                x, y, z, way, turn = x + leg * dx, y + leg * dy, z + leg * dz, way + leg, turn + 1
                if turn > 1:
                    metres += leg
                    met += 1
                bounces += 1
                f, plane = facet_of[triangle], plane_of[triangle]
                nx, ny, nz = normals[f, 0], normals[f, 1], normals[f, 2]
                skin = skin_at(f, plane, x, y, z, facets, first_panel, panels)
                words = philox(ray_low, ray_high, np.uint64(turn), np.uint64(stream), low, high)
                toss = share_of(words[0])
                alive, some_scatter, some_mirror = False, False, False
                for b in range(OCTAVES):
                    if now[b] == 0.0:
                        continue
                    through = now[b] * math.exp(-air[b] * leg)
                    account[AIR, b] += now[b] - through
                    gone[b] += now[b] - through
                    rest = through * kept[skin, b]
                    account[ABSORBED, b] += through - rest
                    gone[b] += through - rest
                    now[b] = rest
                    if rest < threshold * began[b] or way >= most_m or turn >= MOST_BOUNCES:
                        account[LATE if way >= most_m else LEFT, b] += rest
                        gone[b] += rest
                        now[b] = 0.0
                        continue
                    alive = True
                    if scattering[skin, b] > toss:
                        some_scatter = True
                    else:
                        some_mirror = True
                if not alive:
                    break
                twice = 2.0 * cosine
                mx, my, mz = dx + twice * nx, dy + twice * ny, dz + twice * nz
                if some_scatter:
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
                        share = lift / (math.pi * max(far, radii[ear]) ** 3)
                        for b in range(OCTAVES):
                            if scattering[skin, b] > toss:
                                energy[ear, b, place] += now[b] * share * math.exp(-air[b] * far)
                    sx, sy, sz = scattered(nx, ny, nz, share_of(words[1]), share_of(words[2]))
                    if some_mirror:
                        # the mirrored octaves wait, the scattered ones go on
                        for b in range(OCTAVES):
                            waits = scattering[skin, b] <= toss
                            waiting[height, b] = now[b] if waits else 0.0
                            if waits:
                                now[b] = 0.0
                        where[height, 0], where[height, 1], where[height, 2] = x, y, z
                        where[height, 3], where[height, 4], where[height, 5], where[height, 6] = mx, my, mz, way
                        flags[height, 0], flags[height, 1], flags[height, 2] = turn, mirrors + 1, strayed
                        flags[height, 3], flags[height, 4] = 1, plane
                        height += 1
                    dx, dy, dz, strayed, mirrored = sx, sy, sz, 1, 0
                else:
                    dx, dy, dz, mirrors, mirrored = mx, my, mz, mirrors + 1, 1
        for b in range(OCTAVES):
            if began[b] > 0.0:
                worst = max(worst, abs(gone[b] - began[b]) / began[b])
    return bounces, queries, worst, metres, met
