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
"""In place of the edge whose drive counts: that of the leg's other end."""


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
    in_grid, in_parts = np.empty(room, np.int64), np.empty((room, 4))
    out_grid, out_parts = np.empty(room, np.int64), np.empty((room, 4))
    places, steps, node = np.empty(room), np.empty(room), np.empty(3)
    table = np.empty((2, 2, 4 * REACH + 1))
    all_k, sums = filled_up(wavenumbers), np.zeros((2, rows_of_eight(wavenumbers.shape[0])))
    thirds = np.zeros((2, all_k.shape[0]))
    arriving, leaving = new_grids(all_k.shape[0])
    radiated = np.zeros((drive.shape[0], drive.shape[1], 2, all_k.shape[0]))
    for e in range(drive.shape[0]):
        lay_out(drive[e], radiated[e])
    second, faded = np.empty((2, fades.shape[1])), np.empty((2, fades.shape[1]))
    for e in range(fades.shape[1]):
        for side in range(2):
            faded[side, e] = fades[side, e] * weights[2 * side, e]
            second[side, e] = weights[2 * side, e] if third else faded[side, e]
    sharp = max(sharpest(source, wedges, edge_legs), sharpest(ear, wedges, edge_legs))
    for e in range(wedges[4].shape[0]):
        start, along, into, normal, length, angle = one_wedge(wedges, e)
        nu = math.pi / angle
        scale = -nu / (4.0 * math.pi)
        r_s, angle_s, z_s = cylinder(source, start, along, into, normal)
        r_e, angle_e, z_e = cylinder(ear, start, along, into, normal)
        r_s, r_e = max(r_s, LEAST_RADIUS_M), max(r_e, LEAST_RADIUS_M)
        chosen = choose(source, ear, e, wedges, edge_legs, second)
        for p in range(2):
            for q in range(2):
                sines, cosines = half_phases(nu, angle * p, angle * q)
                for g in range(4 * REACH + 1):
                    table[p, q, g] = scale * edge_directivity(nu, (g - 2 * REACH) * STEP, sines, cosines)
        for j in range(middle_nodes(r_s, z_s, r_e, z_e, length, sharp, k_most, places, steps)):
            for axis in range(3):
                node[axis] = start[axis] + places[j] * along[axis]
            to_source, to_ear = math.hypot(r_s, places[j] - z_s), math.hypot(r_e, places[j] - z_e)
            turn_s, turn_e = math.asinh((places[j] - z_s) / r_s), math.asinh((places[j] - z_e) / r_e)
            came = gather(source, node, e, places[j], wedges, edge_legs, k_most, ins)
            left = gather(ear, node, e, places[j], wedges, edge_legs, k_most, outs)
            if angle_e <= angle:
                leg = (nu, angle, angle_e, turn_e, to_ear, steps[j] * scale / to_ear)
                add_second(sums, all_k, came, ins, edge_legs, chosen[0], leg, wedges, radiated, OTHER_EDGE, 0.0)
            if angle_s <= angle:
                leg = (nu, angle, angle_s, turn_s, to_source, steps[j] * scale / to_source)
                add_second(sums, all_k, left, outs, edge_legs, chosen[1], leg, wedges, radiated, e, places[j])
            if not third or came == 0 or left == 0 or weights[1, e] == 0.0:
                continue
            lay_on_grid(in_grid, ins[2][:came], in_parts)
            lay_on_grid(out_grid, outs[2][:left], out_parts)
            samples = drive.shape[1]
            lay_waves(arriving, came, ins, in_grid, in_parts, edge_legs, faded[0], all_k, wedges, radiated, samples)
            lay_waves(
                leaving, left, outs, out_grid, out_parts, edge_legs, faded[1], all_k, wedges, radiated, NO_SAMPLES
            )
            add_third(thirds, arriving, leaving, table, steps[j] * weights[1, e], all_k)
    for f in range(wavenumbers.shape[0]):
        result[0, f] = complex(sums[0, f], sums[1, f])
        result[1, f] = complex(thirds[0, f], thirds[1, f])
    return result


@part
def add_second(sums, wavenumbers, count, store, edge_legs, chosen, leg, wedges, drive, drive_edge, place):  # type: ignore[no-untyped-def]
    """Add the chains of two about one node to sums (2, rows of eight): legs in `store`, then the leg to the other end.

    leg: (nu, air angle, angle of that end, its direction, its distance, scale).  drive_edge: the node's own edge when
    the leg comes after the node, else -1.  wavenumbers and drive are laid out.
    """
    nu, angle, end_angle, turn, distance, scale = leg
    row, samples = ROW_BYTES * (wavenumbers.shape[0] // LANES), drive.shape[1]
    k_at, drive_from, sums_at = wavenumbers.ctypes.data, drive.ctypes.data, sums.ctypes.data
    done = -1
    sines, cosines = half_phases(nu, end_angle, 0.0)
    for i in range(count):
        h = store[0][i]
        if chosen[h] == 0.0:
            continue
        if h != done:
            done = h
            sines, cosines = half_phases(nu, end_angle, angle * edge_legs[h, 3])
        directivity = edge_directivity(nu, store[2][i] + turn, sines, cosines)
        value = spread_double(scale * chosen[h] * store[3][i] * directivity)
        length = spread_double(store[4][i] + distance)
        sample, fraction = 0, 0.0
        if samples > 0:
            other = edge_legs[h, 0] if drive_edge < 0 else drive_edge
            sample, fraction = sample_at(store[1][i] if drive_edge < 0 else place, wedges[4][other], samples, row)
            sample += 2 * row * samples * other
        for at in range(0, row, ROW_BYTES):
            wave = wave_of(load_doubles(k_at + at) * length)
            if samples > 0:
                wave = driven(wave, drive_from + sample + at, row, fraction)
            add_at(sums_at + at, value * wave[0])
            add_at(sums_at + row + at, value * wave[1])
