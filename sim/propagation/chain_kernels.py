"""Sound bent round several edges of one convex body in turn: arrays in, arrays out.

Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106 (1999) 2331-2344 (second order); Asheim & Svensson, J. Acoust.
Soc. Am. 133 (2013) 3681-3691 (any order, as sources along the edges).  A wave that leaves edge 1 along a face is met by
edge 2 as if a source stood at the node of edge 1; since it grazes a rigid face, half of it counts per hop.

Every chain is summed about a node j of one edge in its middle: what comes in over one hop, and what goes out over one
hop, each with nodes of its own, graded about the apex of that hop.  So a hop over the 2 cm of a plate's rim, one
round a corner and a peak at the border of sight are all resolved, while the nodes j may be coarse.

    second order: source -> i -> j -> ear, or source -> j -> m -> ear where the peak is on the ear's side
    third order:  source -> i -> j -> m -> ear; what j does to a wave depends only on the sum of two directions
                  along the edge, so both sides are laid on a grid of directions first

Bodies come as `wedges` = (start (e, 3), along (e, 3), face (e, 3), normal (e, 3), length (e,), angle (e,)) and `hops`
(h, 4): from edge, to edge, and which face of either they share (0 or 1).
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

from .edge_kernels import (
    GAUSS_W,
    GAUSS_X,
    LEAST_RADIUS_M,
    bend,
    cylinder,
    drive_at,
    edge_nodes,
    half_phases,
    node_capacity,
)

STEP = 0.5
REACH = 11
"""Directions along an edge, asinh(cot of the angle with it), are laid on a grid of -REACH .. REACH steps; cubic
interpolation of the smooth function of j is then within 2e-3 of it."""
NODE_PHASE = 24.0
"""Most phase over a panel of 8 nodes j, were source, hop and ear all in line with the edge."""


@nb.njit(cache=True)
def one_wedge(wedges, e):  # type: ignore[no-untyped-def]
    """Wedge e as the tuple that the first-order kernels take."""
    return (wedges[0][e], wedges[1][e], wedges[2][e], wedges[3][e], wedges[4][e], wedges[5][e])


@nb.njit(cache=True)
def middle_nodes(r_s, z_s, r_e, z_e, length, sharp, k_most, places, weights):  # type: ignore[no-untyped-def]
    """Fill the nodes j of one edge: panels no longer than the way to either end of the path, finer at the corners.

    sharp: where source and ear both graze a face, the peak that the nodes of the hops do not take, about the apex.
    """
    count, a, step = 0, 0.0, length
    apex = (z_s * r_e + z_e * r_s) / (r_s + r_e)
    sharp = max(sharp, 1.0e-7) * r_s * r_e / (r_s + r_e)
    while a < length * (1.0 - 1.0e-9) and count + 8 <= places.shape[0]:
        b = min(a + step, length)
        while True:
            size, middle = b - a, 0.5 * (a + b)
            near = min(math.hypot(r_s, middle - z_s), math.hypot(r_e, middle - z_e))
            corner = max(min(a, length - b), 0.12 * length)
            aside = max(sharp, abs(middle - apex) - 0.5 * size)
            if size > 2.0 * aside and size > 1.0e-7:
                b = a + 0.7 * size
                continue
            if size <= max(2.0 * near, 0.01 * length) and size <= 3.0 * corner and 2.0 * k_most * size <= NODE_PHASE:
                break
            b = a + 0.8 * size
        for i in range(8):
            places[count] = 0.5 * (a + b) + 0.5 * (b - a) * GAUSS_X[i]
            weights[count] = 0.5 * (b - a) * GAUSS_W[i]
            count += 1
        step = 2.0 * (b - a)
        a = b
    return count


@nb.njit(cache=True)
def hop_nodes(end, node, wedge, face, k_most, places, amplitudes, lengths):  # type: ignore[no-untyped-def]
    """Fill the nodes of one hop between `end` (source or ear) and `node` (3,) on another edge; return their number.

    amplitude: weight * -(nu/4pi) beta/(m l), half of it since the hop grazes a face; length: m + l.
    """
    start, along, into, normal, length, angle = wedge
    r_s, angle_s, z_s = cylinder(end, start, along, into, normal)
    if angle_s > angle:
        return 0
    r_e, _, z_e = cylinder(node, start, along, into, normal)
    r_s, r_e = max(r_s, LEAST_RADIUS_M), max(r_e, LEAST_RADIUS_M)
    nu = math.pi / angle
    sines, cosines = half_phases(nu, angle_s, angle if face == 1 else 0.0)
    count = edge_nodes(0.0, length, r_s, z_s, r_e, z_e, nu, sines, k_most, places, amplitudes)
    for i in range(count):
        z = places[i]
        m, far = math.hypot(r_s, z - z_s), math.hypot(r_e, z - z_e)
        eta = math.asinh((z - z_s) / r_s) + math.asinh((z - z_e) / r_e)
        amplitudes[i] *= -nu / (8.0 * math.pi) * bend(nu, eta, sines, cosines) / (m * far)
        lengths[i] = m + far
    return count


@nb.njit(cache=True)
def narrowest(end, wedges, e, face):  # type: ignore[no-untyped-def]
    """Return the least sine of nu phi/2 between `end` and a face of edge e: how sharp the peak on that side is."""
    wedge = one_wedge(wedges, e)
    angle = wedge[5]
    theta = min(cylinder(end, wedge[0], wedge[1], wedge[2], wedge[3])[1], angle)
    return np.min(np.abs(half_phases(math.pi / angle, theta, angle if face == 1 else 0.0)[0]))


@nb.njit(cache=True)
def sharpest(end, wedges, hops):  # type: ignore[no-untyped-def]
    """Return the least of `narrowest` over all hops."""
    least = 1.0
    for h in range(hops.shape[0]):
        least = min(least, narrowest(end, wedges, hops[h, 0], hops[h, 2]))
    return least


@nb.njit(cache=True)
def gather(end, node, e, place, wedges, hops, k_most, store):  # type: ignore[no-untyped-def]
    """Collect all one-hop ways between `end` and the node at `place` on edge e; return their number.

    store: arrays (n,) hop number, place at the far edge, direction at the node, amplitude, length.
    """
    which, far_places, directions, amplitudes, lengths = store
    along, start = wedges[1][e], wedges[0][e]
    count = 0
    for h in range(hops.shape[0]):
        if hops[h, 1] != e:
            continue
        other = hops[h, 0]
        added = hop_nodes(
            end, node, one_wedge(wedges, other), hops[h, 2], k_most,
            far_places[count:], amplitudes[count:], lengths[count:],
        )  # fmt: skip
        for i in range(count, count + added):
            z, square = 0.0, 0.0
            for x in range(3):
                p = wedges[0][other, x] + far_places[i] * wedges[1][other, x] - start[x]
                z += p * along[x]
                square += p * p
            directions[i] = math.asinh((place - z) / max(math.sqrt(max(square - z * z, 0.0)), LEAST_RADIUS_M))
            which[i] = h
        count += added
    return count


@nb.njit(cache=True)
def lay_on_grid(grid, directions, parts):  # type: ignore[no-untyped-def]
    """Fill first cell and four cubic weights of each direction: grid (n,), parts (n, 4)."""
    for i in range(directions.shape[0]):
        x = min(max(directions[i] / STEP + REACH, 0.0), 2.0 * REACH)
        g = min(max(int(x) - 1, 0), 2 * REACH - 3)
        t = x - g
        grid[i] = g
        parts[i, 0] = -(t - 1.0) * (t - 2.0) * (t - 3.0) / 6.0
        parts[i, 1] = t * (t - 2.0) * (t - 3.0) / 2.0
        parts[i, 2] = -t * (t - 1.0) * (t - 3.0) / 2.0
        parts[i, 3] = t * (t - 1.0) * (t - 2.0) / 6.0


@nb.njit(cache=True)
def new_store(n):  # type: ignore[no-untyped-def]
    """Arrays for `gather`."""
    return np.empty(n, np.int64), np.empty(n), np.empty(n), np.empty(n), np.empty(n)


@nb.njit(cache=True)
def chained_pressure(source, ear, wedges, hops, fades, drive, wavenumbers, third):  # type: ignore[no-untyped-def]
    """Complex (2, f): what all chains of two and of three edges add to e^{-jkr}/r at the ear.

    fades: (2, e) weights of the source's and of the ear's edge in chains of the last order (see `rim_fade` in `convex`).
    drive: (e, n, f) radiation of the source toward n places evenly along each edge, or (e, 0, f): 1 in all directions.
    """
    k_most = np.max(wavenumbers)
    result = np.zeros((2, wavenumbers.shape[0]), np.complex128)
    room = 0
    for e in range(wedges[4].shape[0]):
        room += node_capacity(wedges[4][e], k_most)
    room *= 2
    ins, outs = new_store(room), new_store(room)
    in_grid, in_parts = np.empty(room, np.int64), np.empty((room, 4))
    out_grid, out_parts = np.empty(room, np.int64), np.empty((room, 4))
    places, weights = np.empty(room), np.empty(room)
    size = 2 * REACH + 1
    table = np.empty((2, 2, 4 * REACH + 1))
    arriving, leaving = np.empty((2, size), np.complex128), np.empty((2, size), np.complex128)
    driven = drive.shape[1] > 0
    last = np.ones_like(fades) if third else fades
    sharp = max(sharpest(source, wedges, hops), sharpest(ear, wedges, hops))
    for e in range(wedges[4].shape[0]):
        start, along, into, normal, length, angle = one_wedge(wedges, e)
        nu = math.pi / angle
        scale = -nu / (4.0 * math.pi)
        r_s, angle_s, z_s = cylinder(source, start, along, into, normal)
        r_e, angle_e, z_e = cylinder(ear, start, along, into, normal)
        r_s, r_e = max(r_s, LEAST_RADIUS_M), max(r_e, LEAST_RADIUS_M)
        for p in range(2):
            for q in range(2):
                sines, cosines = half_phases(nu, angle * p, angle * q)
                for g in range(4 * REACH + 1):
                    table[p, q, g] = scale * bend(nu, (g - 2 * REACH) * STEP, sines, cosines)
        for j in range(middle_nodes(r_s, z_s, r_e, z_e, length, sharp, k_most, places, weights)):
            node = start + places[j] * along
            to_source, to_ear = math.hypot(r_s, places[j] - z_s), math.hypot(r_e, places[j] - z_e)
            turn_s, turn_e = math.asinh((places[j] - z_s) / r_s), math.asinh((places[j] - z_e) / r_e)
            came = gather(source, node, e, places[j], wedges, hops, k_most, ins)
            left = gather(ear, node, e, places[j], wedges, hops, k_most, outs)
            if angle_e <= angle:
                second_by_way_in(
                    result[0], wavenumbers, came, ins, hops, nu, angle, angle_e, turn_e, to_ear,
                    weights[j] * scale / to_ear, source, ear, wedges, e, drive, last,
                )  # fmt: skip
            if angle_s <= angle:
                second_by_way_out(
                    result[0], wavenumbers, left, outs, hops, nu, angle, angle_s, turn_s, to_source,
                    weights[j] * scale / to_source, source, ear, wedges, e, drive, last, places[j],
                )  # fmt: skip
            if not third or came == 0 or left == 0:
                continue
            lay_on_grid(in_grid, ins[2][:came], in_parts)
            lay_on_grid(out_grid, outs[2][:left], out_parts)
            for i in range(came):
                ins[3][i] *= fades[0, hops[ins[0][i], 0]]
            for i in range(left):
                outs[3][i] *= fades[1, hops[outs[0][i], 0]]
            for f in range(wavenumbers.shape[0]):
                k = wavenumbers[f]
                arriving[:] = 0.0
                leaving[:] = 0.0
                for i in range(came):
                    h = ins[0][i]
                    wave = ins[3][i] * complex(math.cos(k * ins[4][i]), -math.sin(k * ins[4][i]))
                    if driven:
                        wave *= drive_at(drive[hops[h, 0]], ins[1][i], wedges[4][hops[h, 0]], f)
                    for n in range(4):
                        arriving[hops[h, 3], in_grid[i] + n] += in_parts[i, n] * wave
                for i in range(left):
                    wave = outs[3][i] * complex(math.cos(k * outs[4][i]), -math.sin(k * outs[4][i]))
                    for n in range(4):
                        leaving[hops[outs[0][i], 3], out_grid[i] + n] += out_parts[i, n] * wave
                total = 0.0j
                for p in range(2):
                    for g in range(size):
                        if arriving[p, g] == 0.0:
                            continue
                        bent = 0.0j
                        for q in range(2):
                            for n in range(size):
                                bent += table[p, q, g + n] * leaving[q, n]
                        total += arriving[p, g] * bent
                result[1, f] += weights[j] * total
    return result


@nb.njit(cache=True)
def second_by_way_in(
    result, wavenumbers, count, ins, hops, nu, angle, angle_e, turn_e, to_ear, scale, source, ear, wedges, e, drive, last
):  # type: ignore[no-untyped-def]
    """Add source -> i -> j -> ear for the hops whose peak is sharper on the source's side."""
    done = -1
    mine = False
    sines, cosines = half_phases(nu, angle_e, 0.0)
    for i in range(count):
        h = ins[0][i]
        if h != done:
            done = h
            sines, cosines = half_phases(nu, angle_e, angle * hops[h, 3])
            mine = narrowest(source, wedges, hops[h, 0], hops[h, 2]) <= np.min(np.abs(sines))
        if not mine:
            continue
        value = scale * ins[3][i] * last[0, hops[h, 0]] * last[1, e] * bend(nu, ins[2][i] + turn_e, sines, cosines)
        length = ins[4][i] + to_ear
        for f in range(wavenumbers.shape[0]):
            wave = value * complex(math.cos(wavenumbers[f] * length), -math.sin(wavenumbers[f] * length))
            if drive.shape[1] > 0:
                wave *= drive_at(drive[hops[h, 0]], ins[1][i], wedges[4][hops[h, 0]], f)
            result[f] += wave


@nb.njit(cache=True)
def second_by_way_out(
    result, wavenumbers, count, outs, hops, nu, angle, angle_s, turn_s, to_source, scale, source, ear, wedges, e,
    drive, last, place,
):  # fmt: skip  # type: ignore[no-untyped-def]
    """Add source -> j -> m -> ear for the hops whose peak is sharper on the ear's side."""
    done = -1
    mine = False
    sines, cosines = half_phases(nu, angle_s, 0.0)
    for i in range(count):
        h = outs[0][i]
        if h != done:
            done = h
            sines, cosines = half_phases(nu, angle_s, angle * hops[h, 3])
            mine = narrowest(ear, wedges, hops[h, 0], hops[h, 2]) < np.min(np.abs(sines))
        if not mine:
            continue
        value = scale * outs[3][i] * last[0, e] * last[1, hops[h, 0]] * bend(nu, outs[2][i] + turn_s, sines, cosines)
        length = outs[4][i] + to_source
        for f in range(wavenumbers.shape[0]):
            wave = value * complex(math.cos(wavenumbers[f] * length), -math.sin(wavenumbers[f] * length))
            if drive.shape[1] > 0:
                wave *= drive_at(drive[e], place, wedges[4][e], f)
            result[f] += wave
