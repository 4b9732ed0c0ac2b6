"""Diffraction over several edges of one convex body in turn: arrays in, arrays out.

Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106 (1999) 2331-2344 (second order); Asheim & Svensson, J. Acoust.
Soc. Am. 133 (2013) 3681-3691 (any order, as sources along the edges).  A wave that leaves edge 1 along a face is met by
edge 2 as if a source stood at the node of edge 1; since it grazes a rigid face, half of it counts per leg.

Every chain is summed about a node j of one edge in its middle: what comes in over one leg, and what goes out over one
leg, each with nodes of its own, graded about the apex of that leg.  So a leg over the 2 cm of a plate's rim, one
round a corner and a peak at the border of sight are all resolved, while the nodes j may be coarse.

    second order: source -> i -> j -> ear, or source -> j -> m -> ear where the peak is on the ear's side
    third order:  source -> i -> j -> m -> ear, see `third_kernels`

Bodies come as `wedges` and `edge_legs`, as in `leg_kernels`.
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
from sim.propagation.edges.leg_kernels import choose, gather, middle_nodes, new_store, one_wedge, sharpest
from sim.propagation.edges.phase_kernels import (
    LANES,
    ROW_BYTES,
    driven,
    filled_up,
    find_steps,
    lay_out,
    rows_of_eight,
    sample_at,
    wave_of,
)
from sim.propagation.edges.third_kernels import (
    NO_SAMPLES,
    REACH,
    STEP,
    add_third,
    lay_on_grid,
    lay_waves,
    new_grids,
)
from sim.rays.kinds_of_kernels import kernel, part, whole
from sim.rays.lanes import add_at, load_doubles, spread_double

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
    second, faded = np.empty((2, fades.shape[1])), np.zeros((2, fades.shape[1]))
    for e in range(fades.shape[1]):
        for side in range(2):
            second[side, e] = weights[2 * side, e] * (1.0 if third else fades[side, e])
    wanted, samples = np.empty((2, edge_legs.shape[0])), whole(drive.shape[1])
    sharp = max(sharpest(source, wedges, edge_legs), sharpest(ear, wedges, edge_legs))
    for e in range(wedges[4].shape[0]):
        start, along, into, normal, length, angle = one_wedge(wedges, e)
        nu = math.pi / angle
        scale = -nu / (4.0 * math.pi)
        r_s, angle_s, z_s = cylinder(source, start, along, into, normal)
        r_e, angle_e, z_e = cylinder(ear, start, along, into, normal)
        r_s, r_e = max(r_s, LEAST_RADIUS_M), max(r_e, LEAST_RADIUS_M)
        chosen = choose(source, ear, e, wedges, edge_legs, second)
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
            for q in range(2):
                sines, cosines = half_phases(nu, angle * p, angle * q)
                for g in range(4 * REACH + 1):
                    table[p, q, g] = scale * edge_directivity(nu, (g - 2 * REACH) * STEP, sines, cosines)
        for j in range(middle_nodes(r_s, z_s, r_e, z_e, length, sharp, k_most, places, steps)):
            for axis in range(3):
                node[axis] = start[axis] + places[j] * along[axis]
            came = gather(source, node, e, places[j], wedges, edge_legs, wanted[0], k_most, ins)
            left = gather(ear, node, e, places[j], wedges, edge_legs, wanted[1], k_most, outs)
            to_source, to_ear = math.hypot(r_s, places[j] - z_s), math.hypot(r_e, places[j] - z_e)
            if came > 0:
                leg = (nu, angle, angle_e, math.asinh((places[j] - z_e) / r_e), steps[j] * scale / to_ear)
                weigh_second(seconds, came, ins, edge_legs, chosen[0], leg)
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
                leg = (nu, angle, angle_s, math.asinh((places[j] - z_s) / r_s), steps[j] * scale / to_source)
                weigh_second(seconds, left, outs, edge_legs, chosen[1], leg)
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
def weigh_second(seconds, count, store, edge_legs, chosen, leg):  # type: ignore[no-untyped-def]
    """Fill seconds (n,): what each of `count` legs about one node weighs in chains of two, over the node to an end.

    leg: (nu, air angle, angle of that end, its direction, scale).
    """
    nu, angle, end_angle, turn, scale = leg
    done = -1
    sines, cosines = half_phases(nu, end_angle, 0.0)
    for i in range(count):
        h = store[0][i]
        seconds[i] = 0.0
        if chosen[h] == 0.0:
            continue
        if h != done:
            done = h
            sines, cosines = half_phases(nu, end_angle, angle * edge_legs[h, 3])
        seconds[i] = scale * chosen[h] * store[3][i] * edge_directivity(nu, store[2][i] + turn, sines, cosines)


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
