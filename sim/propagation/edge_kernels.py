"""Sound bent round edges: arrays in, arrays out.

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

import numba as nb
import numpy as np

PANEL_S = 2.5
PANEL_PHASE = 4.5
LEAST_RADIUS_M = 1.0e-6
LEAST_WIDTH = 1.0e-10
"""Half-width of a peak, in the angle-like eta, below which a point counts as lying on the boundary: the peak is left
out there, and what it would switch is to be counted half."""

GAUSS_X = np.array([
    -0.9602898564975363, -0.7966664774136267, -0.5255324099163290, -0.1834346424956498,
    0.1834346424956498, 0.5255324099163290, 0.7966664774136267, 0.9602898564975363,
])  # fmt: skip
GAUSS_W = np.array([
    0.1012285362903763, 0.2223810344533745, 0.3137066458778873, 0.3626837833783620,
    0.3626837833783620, 0.3137066458778873, 0.2223810344533745, 0.1012285362903763,
])  # fmt: skip


@nb.njit(cache=True)
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


@nb.njit(cache=True)
def half_phases(nu, source_angle, ear_angle):  # type: ignore[no-untyped-def]
    """Return (sines, cosines), each (4,), of nu phi/2 for the four phi = pi +- source +- ear angle."""
    sines, cosines = np.empty(4), np.empty(4)
    for i in range(4):
        phi = math.pi + (source_angle if i < 2 else -source_angle) + (ear_angle if i % 2 == 0 else -ear_angle)
        sines[i], cosines[i] = math.sin(0.5 * nu * phi), math.cos(0.5 * nu * phi)
        if abs(sines[i]) < LEAST_WIDTH:
            sines[i] = 0.0
    return sines, cosines


@nb.njit(cache=True)
def bend(nu, eta, sines, cosines):  # type: ignore[no-untyped-def]
    """Sum of the four beta = sin(nu phi)/(cosh(nu eta) - cos(nu phi)), written so that nothing cancels."""
    square = math.sinh(0.5 * nu * eta) ** 2
    total = 0.0
    for i in range(4):
        if sines[i] != 0.0:
            total += sines[i] * cosines[i] / (square + sines[i] * sines[i])
    return total


@nb.njit(cache=True)
def apex_place(r_s, z_s, r_e, z_e):  # type: ignore[no-untyped-def]
    """Return the place along the edge's line where the shortest way from source to ear bends."""
    return (z_s * r_e + z_e * r_s) / (r_s + r_e)


@nb.njit(cache=True)
def node_capacity(length, k_most):  # type: ignore[no-untyped-def]
    """Return how many nodes `edge_nodes` may need: by the width of the peak, and by the phase along the edge."""
    return 8 * (48 + int(4.0 * k_most * length / PANEL_PHASE))


@nb.njit(cache=True)
def edge_nodes(low, high, r_s, z_s, r_e, z_e, nu, sines, k_most, phase, places, weights):  # type: ignore[no-untyped-def]
    """Fill places and weights along low .. high, graded about the apex by the narrowest peak; return their number."""
    apex = apex_place(r_s, z_s, r_e, z_e)
    m, far = math.hypot(r_s, apex - z_s), math.hypot(r_e, apex - z_e)
    least = 1.0
    for i in range(4):
        if sines[i] != 0.0:
            least = min(least, abs(sines[i]))
    # near the apex eta = (z - apex)(1/m + 1/l), and the peak's half-width is where sinh(nu eta/2) equals the sine
    width = least * 2.0 / nu * m * far / (m + far)
    s, s_high = math.asinh((low - apex) / width), math.asinh((high - apex) / width)
    count = 0
    while s < s_high - 1.0e-12 and count + 8 <= places.shape[0]:
        end = min(s + PANEL_S, s_high)
        if s < -1.0e-12 and end > 0.0:
            end = 0.0
        z = apex + width * math.sinh(s)
        here = math.hypot(r_s, z - z_s) + math.hypot(r_e, z - z_e)
        while True:
            z = apex + width * math.sinh(end)
            if k_most * abs(math.hypot(r_s, z - z_s) + math.hypot(r_e, z - z_e) - here) <= phase:
                break
            end = s + 0.7 * (end - s)
        middle, half = 0.5 * (s + end), 0.5 * (end - s)
        for i in range(8):
            t = middle + half * GAUSS_X[i]
            places[count] = apex + width * math.sinh(t)
            weights[count] = half * GAUSS_W[i] * width * math.cosh(t)
            count += 1
        s = end
    return count


@nb.njit(cache=True)
def edge_integrand(source, ear, wedge, low, high, k_most, places, amplitudes, lengths):  # type: ignore[no-untyped-def]
    """Fill place, amplitude and path length of each node between low and high; return the number of nodes.

    The pressure is the sum of amplitude e^{-jk length}.  Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106 (1999)
    2331-2344, for a source e^{-jkr}/r: -(nu/4pi) * sum of four beta/(m l) dz.  Their eta is written as
    |asinh((z - z_S)/r_S) + asinh((z - z_R)/r_R)|, which is the same and does not cancel near the apex.
    """
    start, along, face, normal, _, angle = wedge
    r_s, angle_s, z_s = cylinder(source, start, along, face, normal)
    r_e, angle_e, z_e = cylinder(ear, start, along, face, normal)
    r_s, r_e = max(r_s, LEAST_RADIUS_M), max(r_e, LEAST_RADIUS_M)
    nu = math.pi / angle
    sines, cosines = half_phases(nu, min(angle_s, angle), min(angle_e, angle))
    count = edge_nodes(low, high, r_s, z_s, r_e, z_e, nu, sines, k_most, PANEL_PHASE, places, amplitudes)
    for i in range(count):
        z = places[i]
        m, far = math.hypot(r_s, z - z_s), math.hypot(r_e, z - z_e)
        eta = math.asinh((z - z_s) / r_s) + math.asinh((z - z_e) / r_e)
        amplitudes[i] *= -nu / (4.0 * math.pi) * bend(nu, eta, sines, cosines) / (m * far)
        lengths[i] = m + far
    return count


@nb.njit(cache=True)
def drive_at(drive, place, length, f):  # type: ignore[no-untyped-def]
    """Return what the source radiates toward a place on an edge, linear between samples (n, f) evenly along it."""
    x = min(max(place / length, 0.0), 1.0) * (drive.shape[0] - 1)
    i = min(int(x), drive.shape[0] - 2)
    return drive[i, f] + (x - i) * (drive[i + 1, f] - drive[i, f])


@nb.njit(cache=True, nogil=True)
def edge_pressure(source, ear, wedge, low, high, wavenumbers, drive):  # type: ignore[no-untyped-def]
    """Complex (f,): what the stretch low .. high of an edge adds to e^{-jkr}/r at the ear.

    drive: (n, f) radiation toward n places evenly along the whole edge; (0, f) where it is 1 in all directions.
    """
    k_most = np.max(wavenumbers)
    capacity = node_capacity(wedge[4], k_most)
    places, amplitudes, lengths = np.empty(capacity), np.empty(capacity), np.empty(capacity)
    count = edge_integrand(source, ear, wedge, low, high, k_most, places, amplitudes, lengths)
    result = np.zeros(wavenumbers.shape[0], np.complex128)
    for f in range(wavenumbers.shape[0]):
        total = 0.0j
        for i in range(count):
            phase = wavenumbers[f] * lengths[i]
            wave = amplitudes[i] * complex(math.cos(phase), -math.sin(phase))
            if drive.shape[0] > 0:
                wave *= drive_at(drive, places[i], wedge[4], f)
            total += wave
        result[f] = total
    return result
