"""Chains of three edges about one node of the middle edge, eight frequencies at once: arrays in, arrays out.

What the middle edge does to a wave depends only on the sum of two directions along it.  So what comes in over one leg
and what goes out over one leg are each laid on a grid of directions, and the two grids meet in one table.
"""

from __future__ import annotations

import math

import numpy as np

from sim.propagation.edges.edge_kernels import (
    LEAST_RADIUS_M,
    cylinder,
    edge_directivity,
    half_phases,
    largest,
    node_capacity,
)
from sim.propagation.edges.leg_kernels import choose, middle_nodes, one_wedge, sharpest
from sim.propagation.edges.leg_sum_kernels import TERMS, gather, grazing_terms, legs_of, new_store, weigh_second
from sim.propagation.edges.phase_kernels import (
    LANES,
    ROW_BYTES,
    driven,
    filled_up,
    find_steps,
    lay_out,
    rows_of_eight,
    sample_at,
)
from sim.rays.kinds_of_kernels import kernel, part, whole
from sim.rays.lane_functions import wave_of
from sim.rays.lanes import add_at, load_doubles, multiply_add, spread_double

STEP = 0.5
REACH = 11
"""Directions along an edge, asinh(cot of the angle with it), are laid on a grid of -REACH .. REACH steps; cubic
interpolation of the smooth function of the middle node is then within 2e-3 of it."""
SIZE = 2 * REACH + 1
NO_SAMPLES = whole(0)


@kernel
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


@part
def new_grids(rows):  # type: ignore[no-untyped-def]
    """Sums (2 faces, directions, real and imaginary, rows of eight) of what comes in or goes out, and cells used."""
    return np.zeros((2, SIZE, 2, rows)), np.zeros((2, SIZE), np.int64)


@part
def lay_waves(cells, here, count, store, seconds, grid, parts, edge_legs, fades, rows, wedges, drive, samples):  # type: ignore[no-untyped-def]
    """Sum the waves of `count` legs on the grid of directions, and with weights `seconds` (n,) in here (2, f).

    cells: as from `new_grids`, cleared here; fades: (e,) weights on the grid; rows: wavenumbers, which of their rows
    follow by a step, and the step (see `find_steps`); drive counts where there are `samples` of it.
    """
    wavenumbers, follows, step = rows
    sums, used = cells
    row = ROW_BYTES * (wavenumbers.shape[0] // LANES)
    k_at, drive_from, sums_at = wavenumbers.ctypes.data, drive.ctypes.data, sums.ctypes.data
    here_at = here.ctypes.data
    here[:] = 0.0
    for face in range(2):
        for g in range(SIZE):
            if used[face, g] == 1:
                used[face, g] = 0
                sums[face, g] = 0.0
    for i in range(count):
        h = store[0][i]
        other = edge_legs[h, 0]
        amplitude, extra = store[3][i] * fades[other], seconds[i]
        if amplitude == 0.0 and extra == 0.0:
            continue
        length = spread_double(store[4][i])
        sample, fraction = 0, 0.0
        if samples > 0:
            sample, fraction = sample_at(store[1][i], wedges[4][other], samples, row)
            sample += 2 * row * samples * other
        first, second = spread_double(amplitude * parts[i, 0]), spread_double(amplitude * parts[i, 1])
        third, fourth = spread_double(amplitude * parts[i, 2]), spread_double(amplitude * parts[i, 3])
        cell = sums_at + 2 * row * (SIZE * edge_legs[h, 3] + grid[i])
        if amplitude != 0.0:
            used[edge_legs[h, 3], grid[i] : grid[i] + 4] = 1
        more = spread_double(extra)
        plain = wave_of(load_doubles(k_at) * length)
        turn = plain
        if step > 0.0:
            turn = wave_of(spread_double(step) * length)
        for at in range(0, row, ROW_BYTES):
            if follows[at // ROW_BYTES] == 1:
                plain = (plain[0] * turn[0] - plain[1] * turn[1], plain[0] * turn[1] + plain[1] * turn[0])
            elif at > 0:
                plain = wave_of(load_doubles(k_at + at) * length)
            wave = plain
            if samples > 0:
                wave = driven(plain, drive_from + sample + at, row, fraction)
            if extra != 0.0:
                add_at(here_at + at, more * wave[0])
                add_at(here_at + row + at, more * wave[1])
            if amplitude != 0.0:
                add_at(cell + at, first * wave[0])
                add_at(cell + row + at, first * wave[1])
                add_at(cell + 2 * row + at, second * wave[0])
                add_at(cell + 3 * row + at, second * wave[1])
                add_at(cell + 4 * row + at, third * wave[0])
                add_at(cell + 5 * row + at, third * wave[1])
                add_at(cell + 6 * row + at, fourth * wave[0])
                add_at(cell + 7 * row + at, fourth * wave[1])


@part
def add_third(result, arriving, leaving, table, weight, wavenumbers):  # type: ignore[no-untyped-def]
    """Add to result (2, rows of eight) what comes in times the table times what goes out; table (2, 2, directions)."""
    row = ROW_BYTES * (wavenumbers.shape[0] // LANES)
    in_at, out_at, result_at = arriving[0].ctypes.data, leaving[0].ctypes.data, result.ctypes.data
    for at in range(0, row, ROW_BYTES):
        total_real, total_imaginary = spread_double(0.0), spread_double(0.0)
        for p in range(2):
            for g in range(SIZE):
                if arriving[1][p, g] == 0:
                    continue
                real, imaginary = spread_double(0.0), spread_double(0.0)
                for q in range(2):
                    here = out_at + 2 * row * SIZE * q + at
                    for n in range(SIZE):
                        if leaving[1][q, n] == 1:
                            value = spread_double(table[p, q, g + n])
                            real = multiply_add(value, load_doubles(here), real)
                            imaginary = multiply_add(value, load_doubles(here + row), imaginary)
                        here += 2 * row
                cell = in_at + 2 * row * (SIZE * p + g) + at
                came_real, came_imaginary = load_doubles(cell), load_doubles(cell + row)
                total_real = total_real + (came_real * real - came_imaginary * imaginary)
                total_imaginary = total_imaginary + (came_real * imaginary + came_imaginary * real)
        scale = spread_double(weight)
        add_at(result_at + at, scale * total_real)
        add_at(result_at + row + at, scale * total_imaginary)


# Diffraction over several edges of one convex body in turn: arrays in, arrays out.
#
# Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106 (1999) 2331-2344 (second order); Asheim & Svensson, J. Acoust.
# Soc. Am. 133 (2013) 3681-3691 (any order, as sources along the edges).  A wave that leaves edge 1 along a face is met
# by edge 2 as if a source stood at the node of edge 1; since it grazes a rigid face, half of it counts per leg.
#
# Every chain is summed about a node j of one edge in its middle: what comes in over one leg, and what goes out over one
# leg, each with nodes of its own, graded about the apex of that leg.  So a leg over the 2 cm of a plate's rim, one
# round a corner and a peak at the border of sight are all resolved, while the nodes j may be coarse.
#
#     second order: source -> i -> j -> ear, or source -> j -> m -> ear where the peak is on the ear's side
#     third order:  source -> i -> j -> m -> ear, see `third_kernels`
#
# Bodies come as `wedges` and `edge_legs`, as in `leg_kernels`.

OTHER_EDGE = whole(-1)
"""In place of the edge whose drive counts where the legs have had theirs."""


@kernel
def chained_pressure(source, ear, wedges, edge_legs, fades, weights, drive, wavenumbers, third):  # type: ignore[no-untyped-def]
    """Complex (2, f): what all chains of two and of three edges add to e^{-jkr}/r at the ear.

    fades: (2, e) weights of the source's and of the ear's edge in the last order (see `rim_fade` in `convex`).
    weights: (3, e) of each edge as the first, in the middle and as the last of any chain.
    drive: (e, n, f) radiation of the source toward n places evenly along each edge, or (e, 0, f): 1 in all directions.
    """
    k_most = largest(wavenumbers)
    result = np.empty((2, wavenumbers.shape[0]), np.complex128)
    room = 0
    for e in range(wedges[4].shape[0]):
        room += node_capacity(wedges[4][e], k_most)
    room *= 2
    ins, outs = new_store(room), new_store(room)
    grid, parts, seconds = np.zeros(room, np.int64), np.empty((room, 4)), np.empty(room)
    places, steps, node = np.empty(room), np.empty(room), np.empty(3)
    table = np.empty((2, 2, 4 * REACH + 1))
    all_k, sums = filled_up(wavenumbers), np.zeros((2, rows_of_eight(wavenumbers.shape[0])))
    follows = np.zeros(all_k.shape[0] // LANES, np.int64)
    rows = (all_k, follows, find_steps(all_k, follows))
    thirds, here = np.zeros((2, all_k.shape[0])), np.zeros((2, all_k.shape[0]))
    arriving, leaving = new_grids(all_k.shape[0]), new_grids(all_k.shape[0])
    radiated = np.zeros((drive.shape[0], drive.shape[1], 2, all_k.shape[0]))
    for e in range(drive.shape[0]):
        lay_out(drive[e], radiated[e])
    second, faded, hidden = np.empty((2, fades.shape[1])), np.zeros((2, fades.shape[1])), np.zeros((2, fades.shape[1]))
    for e in range(fades.shape[1]):
        for side in range(2):
            second[side, e] = weights[2 * side, e] * (1.0 if third else fades[side, e])
            hidden[side, e] = 1.0 - fades[side, e] if third else 0.0
    wanted, samples = np.empty((2, edge_legs.shape[0])), whole(drive.shape[1])
    sharp = max(sharpest(source, wedges, edge_legs), sharpest(ear, wedges, edge_legs))
    from_source, from_ear = legs_of(source, wedges, edge_legs), legs_of(ear, wedges, edge_legs)
    to_ears, to_sources, leasts = np.empty((2, TERMS)), np.empty((2, TERMS)), np.empty((2, 2))
    for e in range(wedges[4].shape[0]):
        start, along, into, normal, length, angle = one_wedge(wedges, e)
        nu = math.pi / angle
        scale = -nu / (4.0 * math.pi)
        r_s, angle_s, z_s = cylinder(source, start, along, into, normal)
        r_e, angle_e, z_e = cylinder(ear, start, along, into, normal)
        r_s, r_e = max(r_s, LEAST_RADIUS_M), max(r_e, LEAST_RADIUS_M)
        chosen = choose(source, ear, e, wedges, edge_legs, second, hidden)
        middle = third and weights[1, e] != 0.0
        for other in range(fades.shape[1]):
            for side in range(2):
                faded[side, other] = fades[side, other] * weights[2 * side, other] if middle else 0.0
        for h in range(edge_legs.shape[0]):
            if angle_e > angle:
                chosen[0, h] = 0.0
            if angle_s > angle:
                chosen[1, h] = 0.0
            for side in range(2):
                wanted[side, h] = abs(chosen[side, h]) + abs(faded[side, edge_legs[h, 0]])
        for p in range(2):
            leasts[0, p] = grazing_terms(nu, angle, angle_e, p, to_ears[p])
            leasts[1, p] = grazing_terms(nu, angle, angle_s, p, to_sources[p])
            for q in range(2):
                sines, cosines = half_phases(nu, angle * p, angle * q)
                for g in range(4 * REACH + 1):
                    table[p, q, g] = scale * edge_directivity(nu, (g - 2 * REACH) * STEP, sines, cosines)
        for j in range(middle_nodes(r_s, z_s, r_e, z_e, length, sharp, k_most, places, steps)):
            for axis in range(3):
                node[axis] = start[axis] + places[j] * along[axis]
            to_source, to_ear = math.hypot(r_s, places[j] - z_s), math.hypot(r_e, places[j] - z_e)
            turn_s, turn_e = math.asinh((places[j] - z_s) / r_s), math.asinh((places[j] - z_e) / r_e)
            beyond = (turn_e, leasts[0], nu, chosen[0])
            came = gather(node, e, places[j], wedges, edge_legs, from_source, wanted[0], k_most, beyond, ins)
            beyond = (turn_s, leasts[1], nu, chosen[1])
            left = gather(node, e, places[j], wedges, edge_legs, from_ear, wanted[1], k_most, beyond, outs)
            if came > 0:
                leg = (nu, turn_e, steps[j] * scale / to_ear)
                weigh_second(seconds, came, ins, edge_legs, chosen[0], to_ears, leg)
                if middle:
                    lay_on_grid(grid, ins[2][:came], parts)
                lay_waves(
                    arriving,
                    here,
                    came,
                    ins,
                    seconds,
                    grid,
                    parts,
                    edge_legs,
                    faded[0],
                    rows,
                    wedges,
                    radiated,
                    samples,
                )
                add_second(sums, here, rows[0], to_ear, wedges, radiated, OTHER_EDGE, 0.0)
            if left > 0:
                leg = (nu, turn_s, steps[j] * scale / to_source)
                weigh_second(seconds, left, outs, edge_legs, chosen[1], to_sources, leg)
                if middle:
                    lay_on_grid(grid, outs[2][:left], parts)
                lay_waves(
                    leaving,
                    here,
                    left,
                    outs,
                    seconds,
                    grid,
                    parts,
                    edge_legs,
                    faded[1],
                    rows,
                    wedges,
                    radiated,
                    NO_SAMPLES,
                )
                add_second(sums, here, rows[0], to_source, wedges, radiated, e, places[j])
            if middle and came > 0 and left > 0:
                add_third(thirds, arriving, leaving, table, steps[j] * weights[1, e], all_k)
    for f in range(wavenumbers.shape[0]):
        result[0, f] = complex(sums[0, f], sums[1, f])
        result[1, f] = complex(thirds[0, f], thirds[1, f])
    return result


@part
def add_second(sums, here, wavenumbers, distance, wedges, drive, edge, place):  # type: ignore[no-untyped-def]
    """Add to sums (2, rows of eight) the chains of two about one node, here (2, rows), sent on over a distance.

    edge: that of the node where the source's leg is the one from there, so that what it radiates toward `place` on it
    counts; else -1.  wavenumbers and drive are laid out.
    """
    row, samples = ROW_BYTES * (wavenumbers.shape[0] // LANES), drive.shape[1]
    k_at, drive_from, sums_at, here_at = (
        wavenumbers.ctypes.data,
        drive.ctypes.data,
        sums.ctypes.data,
        here.ctypes.data,
    )
    sample, fraction = 0, 0.0
    if samples > 0 and edge >= 0:
        sample, fraction = sample_at(place, wedges[4][edge], samples, row)
        sample += 2 * row * samples * edge
    far = spread_double(distance)
    for at in range(0, row, ROW_BYTES):
        wave = wave_of(load_doubles(k_at + at) * far)
        if samples > 0 and edge >= 0:
            wave = driven(wave, drive_from + sample + at, row, fraction)
        real, imaginary = load_doubles(here_at + at), load_doubles(here_at + row + at)
        add_at(sums_at + at, real * wave[0] - imaginary * wave[1])
        add_at(sums_at + row + at, real * wave[1] + imaginary * wave[0])
