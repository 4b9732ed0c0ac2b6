"""Nodes of the legs that meet one node of an edge, eight at a time: where they are, how strong, from which direction.

Bodies come as `wedges` and `edge_legs`, as in `leg_kernels`.  On a leg one direction grazes a face, and there the four
terms of a wedge are two and two alike: beta is c1/(x + q1) + c2/(x + q2) with x = sinh^2(nu eta/2), q the squares of
the sines of nu phi/2, and c these sines times their cosines, twice.
"""

from __future__ import annotations

import math

import numpy as np

from sim.propagation.edges.edge_kernels import LEAST_RADIUS_M, cylinder, edge_panels, half_phases, peak_at, placed
from sim.propagation.edges.phase_kernels import LANES, ROW_BYTES
from sim.rays.kinds_of_kernels import inlined, part
from sim.rays.lane_functions import exponentials, logarithms
from sim.rays.lanes import above, greater, load_doubles, multiply_add, size_of, spread_double, square_root, store, where

EDGE_LEG_PHASE = 14.0
"""Most phase over a panel of 8 nodes of a leg: chains need less than single edges, being smaller and summed twice."""
HIDDEN = -1.0
"""In place of the distance of an end that does not see the edge of a leg."""
TERMS = 4
WIDE_ENOUGH = 0.5
"""A peak this many times as wide as it is far from another needs no panels of its own."""
NOWHERE = 1.0e9
"""In place of a peak that no node of an edge has."""


@part
def grazing_terms(nu, angle, end_angle, face, terms):  # type: ignore[no-untyped-def]
    """Fill terms (4,) with c1, q1, c2, q2 for an end at an angle and a leg along a face; return the least sine."""
    sines, cosines = half_phases(nu, end_angle, angle if face == 1 else 0.0)
    least = 1.0
    for pair in range(2):
        total, square = 0.0, 0.0
        for i in range(2 * pair, 2 * pair + 2):
            if sines[i] != 0.0:
                total += sines[i] * cosines[i]
                square = max(square, sines[i] * sines[i])
                least = min(least, abs(sines[i]))
        terms[2 * pair], terms[2 * pair + 1] = total, square if square > 0.0 else 1.0
    return least


@part
def legs_of(end, wedges, edge_legs):  # type: ignore[no-untyped-def]
    """What the legs from an end, source or ear, have whatever node they lead to, (h, 8).

    Columns: distance and place of the end about the leg's far edge, nu, the least sine, and the four `grazing_terms`.
    """
    known = np.empty((edge_legs.shape[0], 4 + TERMS))
    for h in range(edge_legs.shape[0]):
        e = edge_legs[h, 0]
        angle = wedges[5][e]
        r, end_angle, z = cylinder(end, wedges[0][e], wedges[1][e], wedges[2][e], wedges[3][e])
        nu = math.pi / angle
        known[h, 0] = HIDDEN if end_angle > angle else max(r, LEAST_RADIUS_M)
        known[h, 1], known[h, 2] = z, nu
        known[h, 3] = grazing_terms(nu, angle, end_angle, edge_legs[h, 2], known[h, 4:])
    return known


@inlined
def two_terms(growth, terms):  # type: ignore[no-untyped-def]
    """Numerator and denominator of c1/(x + q1) + c2/(x + q2) for growth = e^{nu eta/2} of eight nodes."""
    c1, q1, c2, q2 = terms
    slope = spread_double(0.5) * (growth - spread_double(1.0) / growth)
    one, other = multiply_add(slope, slope, spread_double(q1)), multiply_add(slope, slope, spread_double(q2))
    return multiply_add(spread_double(c1), other, spread_double(c2) * one), one * other


@part
def new_store(n):  # type: ignore[no-untyped-def]
    """Arrays for `gather`."""
    return np.empty(n, np.int64), np.empty(n), np.empty(n), np.empty(n), np.empty(n)


@part
def gather(node, e, place, wedges, edge_legs, known, wanted, k_most, other_end, found):  # type: ignore[no-untyped-def]
    """Collect the one-leg ways between an end and the node (3,) at `place` on edge e; return their number.

    known: `legs_of` the end; wanted: (h,) 0 for legs that are left out; other_end: what lies beyond the node, its
    direction at it, least sines (2,) by the face of the leg, nu of edge e, and (h,) 0 where a leg does not go on to it.
    found: arrays (n,) leg number, place at the far edge, direction at the node, amplitude, length.  Amplitude is
    weight * -(nu/4pi) beta/(m l), half of it since the leg grazes a face; length is m + l.
    """
    which, far_places, directions, amplitudes, _ = found
    turn, leasts, nu_here, goes_on = other_end
    count, peaks = 0, np.empty((2, 2))
    for h in range(edge_legs.shape[0]):
        if edge_legs[h, 1] != e or wanted[h] == 0.0 or known[h, 0] == HIDDEN:
            continue
        r_s, z_s, nu, other = known[h, 0], known[h, 1], known[h, 2], edge_legs[h, 0]
        z_e, r_e = 0.0, 0.0
        for x in range(3):
            z_e += (node[x] - wedges[0][other, x]) * wedges[1][other, x]
        for x in range(3):
            r_e += (node[x] - wedges[0][other, x] - z_e * wedges[1][other, x]) ** 2
        r_e = max(math.sqrt(r_e), LEAST_RADIUS_M)
        ends, length = (r_s, z_s, r_e, z_e), wedges[4][other]
        peaks[0, 0], peaks[0, 1] = peak_at(ends, nu, known[h, 3])
        number = 1
        if goes_on[h] != 0.0:
            seen = (turn, 2.0 * leasts[edge_legs[h, 3]] / nu_here)
            peaks[1, 0], peaks[1, 1] = peak_beyond(e, other, place, wedges, seen)
            number = peaks_that_count(peaks, length)
        terms = (known[h, 4], known[h, 5], known[h, 6], known[h, 7])
        low = 0.0
        for p in range(number):
            high = length
            if p + 1 < number:
                high = 0.5 * (min(max(peaks[0, 0], 0.0), length) + min(max(peaks[1, 0], 0.0), length))
            added = edge_panels(
                ends,
                (low, high),
                (peaks[p, 0], peaks[p, 1]),
                k_most,
                EDGE_LEG_PHASE,
                far_places[count:],
                amplitudes[count:],
            )
            strengthen(count, added, (peaks[p, 0], peaks[p, 1], nu), ends, terms, found)
            turn_about(count, added, e, other, place, wedges, far_places, directions)
            which[count : count + added] = h
            count += added
            low = high
    return count


@part
def peak_beyond(e, other, place, wedges, seen):  # type: ignore[no-untyped-def]
    """Place and half-width, along another edge, of the peak that a node at `place` on edge e has of an end beyond it.

    It lies where the leg and the way on to that end are in line.  seen: direction of the end at the node, and the
    peak's half-width in directions.  Both edges lie in one plane, so a direction is a straight line in it.
    """
    turn, wide = seen
    start, along, far_length = wedges[0][e], wedges[1][e], wedges[4][other]
    z_0, z_more = 0.0, 0.0
    for x in range(3):
        z_0 += (wedges[0][other, x] - start[x]) * along[x]
        z_more += wedges[1][other, x] * along[x]
    square, beside_0, beside_more = 0.0, 0.0, 0.0
    for x in range(3):
        first = wedges[0][other, x] - start[x] - z_0 * along[x]
        more = wedges[1][other, x] - z_more * along[x]
        out = first + 0.5 * far_length * more
        square += out * out
        beside_0 += first * out
        beside_more += more * out
    out = max(math.sqrt(square), LEAST_RADIUS_M)
    beside_0, beside_more = beside_0 / out, beside_more / out
    slope = -math.sinh(turn)
    rate = z_more + slope * beside_more
    if abs(rate) < 1.0e-9:
        return NOWHERE, 1.0
    far = (place - z_0 - slope * beside_0) / rate
    beside = beside_0 + far * beside_more
    if beside <= 0.0:
        return NOWHERE, 1.0
    return far, max(wide * beside * math.cosh(turn) / abs(rate), 1.0e-12)


@part
def peaks_that_count(peaks, length):  # type: ignore[no-untyped-def]
    """Order the two peaks (place, half-width) along an edge and return how many need panels of their own, from row 0.

    Panels graded about one peak get longer with the distance from it, and are fine enough for another peak that is
    about as wide as that distance.
    """
    for p in range(2):
        mine, yours = peaks[1 - p], peaks[p]
        there = min(max(mine[0], 0.0), length)
        if math.hypot(mine[0] - there, mine[1]) >= WIDE_ENOUGH * math.hypot(there - yours[0], yours[1]):
            if p == 1:
                peaks[0, 0], peaks[0, 1] = yours[0], yours[1]
            return 1
    if peaks[1, 0] < peaks[0, 0]:
        for x in range(2):
            peaks[0, x], peaks[1, x] = peaks[1, x], peaks[0, x]
    return 2


@part
def strengthen(first, count, grading, ends, terms, found):  # type: ignore[no-untyped-def]
    """Place `count` nodes of one leg from the `first` on, and fill in their amplitudes and lengths."""
    apex, width, nu = grading
    r_s, z_s, r_e, z_e = ends
    places_at, amplitudes_at = found[1].ctypes.data + 8 * first, found[3].ctypes.data + 8 * first
    lengths_at = found[4].ctypes.data + 8 * first
    near, beside = spread_double(r_s), spread_double(r_e)
    scale = spread_double(-nu / (8.0 * math.pi))
    for at in range(0, 8 * count, ROW_BYTES):
        z, weight = placed(load_doubles(places_at + at), load_doubles(amplitudes_at + at), apex, width)
        from_s, from_e = z - spread_double(z_s), z - spread_double(z_e)
        m = square_root(multiply_add(from_s, from_s, near * near))
        far = square_root(multiply_add(from_e, from_e, beside * beside))
        # |eta| is the logarithm of a product or quotient of two numbers, each of at least 1
        one, another = size_of(from_s) + m, size_of(from_e) + far
        same = above(from_s * from_e, spread_double(0.0))
        eta = logarithms(one * where(same, another, beside) / (near * where(same, beside, another)))
        above_line, below_line = two_terms(exponentials(spread_double(0.5 * nu) * eta), terms)
        store(places_at + at, z)
        store(amplitudes_at + at, scale * weight * above_line / (below_line * (m * far)))
        store(lengths_at + at, m + far)


@part
def turn_about(first, count, e, other, place, wedges, far_places, directions):  # type: ignore[no-untyped-def]
    """Fill the directions, asinh(cot of the angle with edge e), in which its node at `place` sees nodes of another."""
    start, along = wedges[0][e], wedges[1][e]
    z_0, z_more = 0.0, 0.0
    for x in range(3):
        z_0 += (wedges[0][other, x] - start[x]) * along[x]
        z_more += wedges[1][other, x] * along[x]
    aside_0, aside_1, aside_2 = (
        wedges[0][other, 0] - start[0] - z_0 * along[0],
        wedges[0][other, 1] - start[1] - z_0 * along[1],
        wedges[0][other, 2] - start[2] - z_0 * along[2],
    )
    more_0, more_1, more_2 = (
        wedges[1][other, 0] - z_more * along[0],
        wedges[1][other, 1] - z_more * along[1],
        wedges[1][other, 2] - z_more * along[2],
    )
    places_at, directions_at = far_places.ctypes.data + 8 * first, directions.ctypes.data + 8 * first
    for at in range(0, 8 * count, ROW_BYTES):
        far = load_doubles(places_at + at)
        x = multiply_add(far, spread_double(more_0), spread_double(aside_0))
        y = multiply_add(far, spread_double(more_1), spread_double(aside_1))
        w = multiply_add(far, spread_double(more_2), spread_double(aside_2))
        beside = greater(square_root(x * x + y * y + w * w), spread_double(LEAST_RADIUS_M))
        z = spread_double(place - z_0) - far * spread_double(z_more)
        ahead = size_of(z)
        turn = logarithms((ahead + square_root(multiply_add(ahead, ahead, beside * beside))) / beside)
        store(directions_at + at, where(above(z, spread_double(0.0)), turn, spread_double(0.0) - turn))


@part
def weigh_second(seconds, count, found, edge_legs, chosen, terms, leg):  # type: ignore[no-untyped-def]
    """Fill seconds (n,): what each of `count` legs about one node weighs in chains of two, over the node to an end.

    terms: (2, 4) `grazing_terms` of that end, by the face of the leg; leg: (nu, the end's direction, scale).
    """
    nu, turn, scale = leg
    seconds_at, directions_at, amplitudes_at = seconds.ctypes.data, found[2].ctypes.data, found[3].ctypes.data
    for i in range(0, count, LANES):
        h, at = found[0][i], 8 * i
        weight = scale * chosen[h]
        if weight == 0.0:
            store(seconds_at + at, spread_double(0.0))
            continue
        face = edge_legs[h, 3]
        some = (terms[face, 0], terms[face, 1], terms[face, 2], terms[face, 3])
        eta = load_doubles(directions_at + at) + spread_double(turn)
        above_line, below_line = two_terms(exponentials(spread_double(0.5 * nu) * eta), some)
        store(seconds_at + at, spread_double(weight) * load_doubles(amplitudes_at + at) * above_line / below_line)
