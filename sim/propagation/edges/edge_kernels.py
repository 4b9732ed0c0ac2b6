"""Edge diffraction: arrays in, arrays out.

A wedge is one tuple `wedge` = (start, along, face, normal, length, angle): a point and the unit direction of the
edge, the unit direction in face 0 away from the edge, face 0's normal toward the air, the length of the edge and the
angle of air from face 0 to the other face.  Angles of points are measured from face 0 through the air.

Along the edge the integrand is a peak over the point where the shortest way bends (the apex).  The places
z = apex + width sinh(s), with the width of the narrowest peak, turn it into a smooth bump in s however near a
boundary of shadow or mirror zone is (sinh transformation: Johnston & Elliott, Int. J. Numer. Meth. Engng 62 (2005)
564-578), and s is cut into panels of 8 Gauss points, each of at most PANEL_S and of a given phase.  With PANEL_PHASE
the sum is within 1e-4 of the integral, re the sound straight over the edge (held to adaptive quadrature by the tests).
"""

from __future__ import annotations

import math

import numpy as np

from sim.propagation.edges.phase_kernels import (
    LANES,
    ROW_BYTES,
    driven,
    filled_up,
    laid_out,
    rows_of_eight,
    sample_at,
)
from sim.rays.kinds_of_kernels import inlined, kernel, part
from sim.rays.lane_functions import exponentials, wave_of
from sim.rays.lanes import add_at, load_doubles, spread_double, store

PANEL_S = 2.5
FOOT_REACH = 2.5
"""A panel is no longer than this many distances to source and ear: 1/r peaks at their feet, where no apex grades it."""
PANEL_PHASE = 4.5
LEAST_RADIUS_M = 1.0e-6
LEAST_WIDTH = 1.0e-10
"""Half-width of a peak, in the angle-like eta, below which a point counts as lying on the boundary: the peak is left
out there, and what it would switch is to be counted half."""

GAUSS_X = np.array(
    [
        -0.9602898564975363,
        -0.7966664774136267,
        -0.5255324099163290,
        -0.1834346424956498,
        0.1834346424956498,
        0.5255324099163290,
        0.7966664774136267,
        0.9602898564975363,
    ]
)
GAUSS_W = np.array(
    [
        0.1012285362903763,
        0.2223810344533745,
        0.3137066458778873,
        0.3626837833783620,
        0.3626837833783620,
        0.3137066458778873,
        0.2223810344533745,
        0.1012285362903763,
    ]
)


@kernel
def cylinder(p, start, along, face, normal):  # type: ignore[no-untyped-def]
    """Return (r, angle, z) of a point about the edge; angle 0 .. 2 pi from face 0 through the air."""
    x, y, z = 0.0, 0.0, 0.0
    for i in range(3):
        way = p[i] - start[i]
        x += way * face[i]
        y += way * normal[i]
        z += way * along[i]
    angle = math.atan2(y, x)
    if angle < 0.0:
        angle = angle + 2.0 * math.pi if angle < -1.0e-12 else 0.0
    return math.hypot(x, y), angle, z


@part
def half_phases(nu, source_angle, ear_angle):  # type: ignore[no-untyped-def]
    """Return (sines, cosines), each (4,), of nu phi/2 for the four phi = pi +- source +- ear angle.

    In turn ++, +-, -+ and --.  Where nu phi is a whole turn the term has its peak, on a border: pi + source + ear = 2
    air angles is the border of face n's mirror zone, pi - source - ear = 0 that of face 0's, and the other two are
    the borders of shadow, seen from either side.
    """
    sines, cosines = np.empty(4), np.empty(4)
    for i in range(4):
        phi = math.pi + (source_angle if i < 2 else -source_angle) + (ear_angle if i % 2 == 0 else -ear_angle)
        sines[i], cosines[i] = math.sin(0.5 * nu * phi), math.cos(0.5 * nu * phi)
        if abs(sines[i]) < LEAST_WIDTH:
            sines[i] = 0.0
    return sines, cosines


@part
def take_shadow_side(sines):  # type: ignore[no-untyped-def]
    """Put an ear that lies on a border of shadow, and on no other, just behind it.

    What touches an edge counts as hidden by it, so the edge has to give the half that is missing, not nothing.
    """
    if sines[0] == 0.0 or sines[3] == 0.0:
        return
    for i in range(1, 3):
        if sines[i] == 0.0:
            sines[i] = -LEAST_WIDTH


@part
def edge_directivity(nu, eta, sines, cosines):  # type: ignore[no-untyped-def]
    """Sum of the four beta = sin(nu phi)/(cosh(nu eta) - cos(nu phi)), written so that nothing cancels."""
    square = math.sinh(0.5 * nu * eta) ** 2
    total = 0.0
    for i in range(4):
        if sines[i] != 0.0:
            total += sines[i] * cosines[i] / (square + sines[i] * sines[i])
    return total


@part
def edge_terms(nu, eta, sines, cosines):  # type: ignore[no-untyped-def]
    """The same sum in three: of the two terms with the borders of shadow, face 0's mirror term, face n's."""
    square = math.sinh(0.5 * nu * eta) ** 2
    shadow, first, last = 0.0, 0.0, 0.0
    if sines[1] != 0.0:
        shadow += sines[1] * cosines[1] / (square + sines[1] * sines[1])
    if sines[2] != 0.0:
        shadow += sines[2] * cosines[2] / (square + sines[2] * sines[2])
    if sines[3] != 0.0:
        first = sines[3] * cosines[3] / (square + sines[3] * sines[3])
    if sines[0] != 0.0:
        last = sines[0] * cosines[0] / (square + sines[0] * sines[0])
    return shadow, first, last


@kernel
def apex_place(r_s, z_s, r_e, z_e):  # type: ignore[no-untyped-def]
    """Return the place along the edge's line where the shortest way from source to ear bends.

    With both ends on that line the ways over all places between them are equally short; the middle stands for them.
    """
    if r_s + r_e <= 0.0:
        return 0.5 * (z_s + z_e)
    return (z_s * r_e + z_e * r_s) / (r_s + r_e)


@part
def largest(values):  # type: ignore[no-untyped-def]
    """Largest of some numbers, at least 0."""
    most = 0.0
    for value in values:
        most = max(most, value)
    return most


@part
def node_capacity(length, k_most):  # type: ignore[no-untyped-def]
    """Return how many nodes `edge_nodes` may need: by the width of the peak, and by the phase along the edge."""
    return 8 * (112 + int(4.0 * k_most * length / PANEL_PHASE))


@inlined
def aside(r, z):  # type: ignore[no-untyped-def]
    """Distance of a point r beside an edge and z along it, of lengths that neither overflow nor vanish squared."""
    return math.sqrt(r * r + z * z)


@inlined
def outside(z, low, high):  # type: ignore[no-untyped-def]
    """How far z along an edge lies outside low .. high."""
    return max(0.0, max(low - z, z - high))


@inlined
def peak_at(ends, nu, least):  # type: ignore[no-untyped-def]
    """Place along an edge and half-width of the peak between (r, z) of a source and (r, z) of an ear about it.

    Near the apex eta = (z - apex)(1/m + 1/l), and the peak's half-width is where sinh(nu eta/2) equals the least sine.
    """
    r_s, z_s, r_e, z_e = ends
    apex = apex_place(r_s, z_s, r_e, z_e)
    m, far = math.hypot(r_s, apex - z_s), math.hypot(r_e, apex - z_e)
    return apex, least * 2.0 / nu * m * far / (m + far)


@part
def edge_panels(ends, along, peak, k_most, phase, places, weights):  # type: ignore[no-untyped-def]
    """Cut a stretch of an edge into panels graded about a peak; return the number of nodes.

    ends: (r, z) of the source and (r, z) of the ear about the edge; along: (low, high); peak: (place, half-width).
    Fills places with s of each node and weights with half of what ds weighs: `placed` makes places of them.
    """
    r_s, z_s, r_e, z_e = ends
    low, high = along
    apex, width = peak
    s, s_high = math.asinh((low - apex) / width), math.asinh((high - apex) / width)
    count, reach = 0, PANEL_S
    start = apex + width * math.sinh(s)
    here = aside(r_s, start - z_s) + aside(r_e, start - z_e)
    while s < s_high - 1.0e-12 and count + 8 <= places.shape[0]:
        end = min(s + reach, s_high)
        if s < -1.0e-12 and end > 0.0:
            end = 0.0
        while True:
            z = apex + width * math.sinh(end)
            there = aside(r_s, z - z_s) + aside(r_e, z - z_e)
            near = min(aside(r_s, outside(z_s, start, z)), aside(r_e, outside(z_e, start, z)))
            if k_most * abs(there - here) <= phase and z - start <= FOOT_REACH * near:
                break
            end = s + 0.7 * (end - s)
        reach = min(2.0 * (end - s), PANEL_S)  # what the last panel could not, the next cannot by much
        middle, half = 0.5 * (s + end), 0.5 * (end - s)
        for i in range(8):
            places[count + i] = middle + half * GAUSS_X[i]
            weights[count + i] = half * GAUSS_W[i]
        count += 8
        s, start, here = end, z, there
    return count


@inlined
def placed(s, weight, apex, width):  # type: ignore[no-untyped-def]
    """Place along the edge and weight of eight nodes of `edge_panels`: apex + width sinh(s), and its slope."""
    grown = spread_double(0.5 * width) * exponentials(s)
    shrunk = spread_double(0.25 * width * width) / grown
    return spread_double(apex) + (grown - shrunk), weight * (grown + shrunk)


@part
def edge_nodes(low, high, r_s, z_s, r_e, z_e, nu, sines, k_most, phase, places, weights):  # type: ignore[no-untyped-def]
    """Fill places and weights along low .. high, graded about the apex by the narrowest peak; return their number."""
    least = 1.0
    for i in range(4):
        if sines[i] != 0.0:
            least = min(least, abs(sines[i]))
    ends = (r_s, z_s, r_e, z_e)
    apex, width = peak_at(ends, nu, least)
    count = edge_panels(ends, (low, high), (apex, width), k_most, phase, places, weights)
    places_at, weights_at = places.ctypes.data, weights.ctypes.data
    for at in range(0, count * 8, ROW_BYTES):
        place, weight = placed(load_doubles(places_at + at), load_doubles(weights_at + at), apex, width)
        store(places_at + at, place)
        store(weights_at + at, weight)
    return count


@part
def edge_integrand(source, ear, wedge, low, high, k_most, places, amplitudes, lengths):  # type: ignore[no-untyped-def]
    """Fill place, amplitudes (3, n) and path length of each node between low and high; return the number of nodes.

    The pressure is the sum of amplitude e^{-jk length}.  Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106 (1999)
    2331-2344, for a source e^{-jkr}/r: -(nu/4pi) * sum of four beta/(m l) dz, here in the three parts of `edge_terms`.
    Their eta is written as |asinh((z - z_S)/r_S) + asinh((z - z_R)/r_R)|, which is the same and does not cancel near
    the apex.
    """
    start, along, face, normal, _, angle = wedge
    r_s, angle_s, z_s = cylinder(source, start, along, face, normal)
    r_e, angle_e, z_e = cylinder(ear, start, along, face, normal)
    r_s, r_e = max(r_s, LEAST_RADIUS_M), max(r_e, LEAST_RADIUS_M)
    nu = math.pi / angle
    sines, cosines = half_phases(nu, min(angle_s, angle), min(angle_e, angle))
    take_shadow_side(sines)
    count = edge_nodes(low, high, r_s, z_s, r_e, z_e, nu, sines, k_most, PANEL_PHASE, places, amplitudes[0])
    for i in range(count):
        z = places[i]
        m, far = math.hypot(r_s, z - z_s), math.hypot(r_e, z - z_e)
        eta = math.asinh((z - z_s) / r_s) + math.asinh((z - z_e) / r_e)
        scale = -nu / (4.0 * math.pi) * amplitudes[0, i] / (m * far)
        shadow, first, last = edge_terms(nu, eta, sines, cosines)
        amplitudes[0, i], amplitudes[1, i], amplitudes[2, i] = scale * shadow, scale * first, scale * last
        lengths[i] = m + far
    return count


@kernel
def drive_at(drive, place, length, f):  # type: ignore[no-untyped-def]
    """Return what the source radiates toward a place on an edge, linear between samples (n, f) evenly along it."""
    x = min(max(place / length, 0.0), 1.0) * (drive.shape[0] - 1)
    i = min(int(x), drive.shape[0] - 2)
    return drive[i, f] + (x - i) * (drive[i + 1, f] - drive[i, f])


@part
def add_edge(count, places, amplitudes, lengths, wavenumbers, drive, length, sums):  # type: ignore[no-untyped-def]
    """Add to sums (3, 2, rows of eight) what `count` places of an edge send; wavenumbers and drive are laid out."""
    row, samples = ROW_BYTES * (wavenumbers.shape[0] // LANES), drive.shape[0]
    k_at, drive_from, sums_at = wavenumbers.ctypes.data, drive.ctypes.data, sums.ctypes.data
    for i in range(count):
        sample, fraction = 0, 0.0
        if samples > 0:
            sample, fraction = sample_at(places[i], length, samples, row)
        far = spread_double(lengths[i])
        shadow, first, last = (
            spread_double(amplitudes[0, i]),
            spread_double(amplitudes[1, i]),
            spread_double(amplitudes[2, i]),
        )
        for at in range(0, row, ROW_BYTES):
            wave = wave_of(load_doubles(k_at + at) * far)
            if samples > 0:
                wave = driven(wave, drive_from + sample + at, row, fraction)
            add_at(sums_at + at, shadow * wave[0])
            add_at(sums_at + row + at, shadow * wave[1])
            add_at(sums_at + 2 * row + at, first * wave[0])
            add_at(sums_at + 3 * row + at, first * wave[1])
            add_at(sums_at + 4 * row + at, last * wave[0])
            add_at(sums_at + 5 * row + at, last * wave[1])


@kernel
def edge_parts(source, ear, wedge, low, high, wavenumbers, drive):  # type: ignore[no-untyped-def]
    """Complex (3, f): what the stretch low .. high of an edge adds to e^{-jkr}/r at the ear, in three parts.

    Rows: the terms that carry the borders of shadow, the one that carries the border of face 0's mirror zone, and that
    of face n.  Their sum is the edge of a rigid wedge; beside soft faces the last two are to be weighted by the
    reflection factors of face 0 and face n (see `soft_faces`).

    drive: (n, f) radiation toward n places evenly along the whole edge; (0, f) where it is 1 in all directions.
    """
    k_most = largest(wavenumbers)
    capacity = node_capacity(wedge[4], k_most)
    places, amplitudes, lengths = np.empty(capacity), np.empty((3, capacity)), np.empty(capacity)
    count = edge_integrand(source, ear, wedge, low, high, k_most, places, amplitudes, lengths)
    sums = np.zeros((3, 2, rows_of_eight(wavenumbers.shape[0])))
    add_edge(count, places, amplitudes, lengths, filled_up(wavenumbers), laid_out(drive), wedge[4], sums)
    result = np.empty((3, wavenumbers.shape[0]), np.complex128)
    for p in range(3):
        for f in range(wavenumbers.shape[0]):
            result[p, f] = complex(sums[p, 0, f], sums[p, 1, f])
    return result


@kernel
def edge_pressure(source, ear, wedge, low, high, wavenumbers, drive):  # type: ignore[no-untyped-def]
    """Complex (f,): what the stretch low .. high of the edge of a rigid wedge adds; arguments as `edge_parts`."""
    parts = edge_parts(source, ear, wedge, low, high, wavenumbers, drive)
    total = np.empty(wavenumbers.shape[0], np.complex128)
    for f in range(wavenumbers.shape[0]):
        total[f] = parts[0, f] + parts[1, f] + parts[2, f]
    return total
