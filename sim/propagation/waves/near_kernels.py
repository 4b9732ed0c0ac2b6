"""Layers of sound: what a unit of pressure on each element sends to each target, in single precision.

Element j, of pressure p_j and admittance beta, sends p_j times the integral over it of dG/dn - j k beta G, with
G = e^{-jkr} / (4 pi r) and n out of the body into the air (Kirchhoff-Helmholtz; Kirkup, The Boundary Element Method in
Acoustics).  Far away it is one point: over an element of area A whose points lie about its middle as the second moments
l_1, l_2 (variances in m2 along unit vectors e_1, e_2 of its plane) say, any smooth f has the integral

    A (f + (l_1 d2f/de_1^2 + l_2 d2f/de_2^2) / 2)    at the middle,

by Taylor's series to the third order; what is missed is of the fourth, (k h)^4 / 1920 on an element of length h: 0.06 %
where six make a wavelength.  With z = jkr, y from the target to the middle, T = sum of l (e . y)^2 / (2 r^4) and
F = (l_1 + l_2) / (2 r^2) that is, times A G,

    dG/dn:  (n . y) / r^2 (-(1 + z) (1 + 15 T - 3 F) + z^2 (F - 6 T) - z^3 T),
    G:      1 + (1 + z) (3 T - F) + z^2 T.

For targets close by, it is corrected: see `close_pairs`.  Sines, cosines and exponentials are short series, so that the
compiler can work on many targets at once.
"""

from __future__ import annotations

import numpy as np

from sim.rays.kinds_of_kernels import flowing, inlined, kernel

PER_TURN = np.float32(0.15915494309189535)
TURN_HIGH, TURN_LOW = np.float32(6.28125), np.float32(0.0019353071795864769)
"""2 pi in two parts, the first with so few bits that its products with whole turns are exact."""
TO_WHOLE = np.float32(12582912.0)
"""1.5 * 2^23: what is added to it and taken off again is rounded to a whole number."""
C1, C2, C3, C4 = np.float32(-1 / 2), np.float32(1 / 24), np.float32(-1 / 720), np.float32(1 / 40320)
S1, S2, S3 = np.float32(-1 / 6), np.float32(1 / 120), np.float32(-1 / 5040)
E2, E3, E4, E5 = np.float32(1 / 2), np.float32(-1 / 6), np.float32(1 / 24), np.float32(-1 / 120)
ONE, TWO, QUARTER, EIGHTH = np.float32(1.0), np.float32(2.0), np.float32(0.25), np.float32(0.125)
HALF, THREE, SIX, FIFTEEN = np.float32(0.5), np.float32(3.0), np.float32(6.0), np.float32(15.0)


@flowing
def add_layers(targets, middles, shapes, sizes, normals, drive, wavenumber, damping, factor, matrix):  # type: ignore[no-untyped-def]
    """Add `factor` times the layers of elements (n) at targets (3, m) to a matrix (n, m) of complex64.

    All float32: middles (n, 3); shapes (n, 2, 3) vectors e times the root of l, in m; sizes (n, 2): area in m2 over
    4 pi, and the square in m2 of the distance below which targets are taken as that far away; normals (n, 3); drive
    (n, 2) real and imaginary part of -j k beta in 1/m; k = wavenumber - j damping in 1/m.  factor: complex64.
    """
    n, m = middles.shape[0], targets.shape[1]
    real, imaginary = np.empty(m, dtype=np.float32), np.empty(m, dtype=np.float32)
    xs, ys, zs = targets[0], targets[1], targets[2]
    factor_real, factor_imaginary = np.float32(factor.real), np.float32(factor.imag)
    for j in range(n):
        nx, ny, nz = normals[j, 0], normals[j, 1], normals[j, 2]
        ax, ay, az = shapes[j, 0, 0], shapes[j, 0, 1], shapes[j, 0, 2]
        bx, by, bz = shapes[j, 1, 0], shapes[j, 1, 1], shapes[j, 1, 2]
        px, py, pz = middles[j, 0], middles[j, 1], middles[j, 2]
        weight, least = sizes[j, 0], sizes[j, 1]
        spread = HALF * (ax * ax + ay * ay + az * az + bx * bx + by * by + bz * bz)
        drive_real, drive_imaginary = drive[j, 0], drive[j, 1]
        for i in range(m):
            dx, dy, dz = px - xs[i], py - ys[i], pz - zs[i]
            square = max(dx * dx + dy * dy + dz * dz, least)
            over = ONE / np.sqrt(square)
            distance, inverse = square * over, over * over
            one, other = dx * ax + dy * ay + dz * az, dx * bx + dy * by + dz * bz
            tilt = HALF * (one * one + other * other) * inverse * inverse
            flat = spread * inverse
            # z, 1 + z and powers of z, and the two sums
            first, phase = damping * distance, wavenumber * distance
            ahead = ONE + first
            second, second_imaginary = first * first - phase * phase, TWO * first * phase
            third, third_imaginary = (
                second * first - second_imaginary * phase,
                second * phase + second_imaginary * first,
            )
            height = (dx * nx + dy * ny + dz * nz) * inverse
            whole, curved = ONE + FIFTEEN * tilt - THREE * flat, flat - SIX * tilt
            beside = THREE * tilt - flat
            dipole = height * (curved * second - whole * ahead - tilt * third)
            dipole_imaginary = height * (curved * second_imaginary - whole * phase - tilt * third_imaginary)
            pole = ONE + ahead * beside + tilt * second
            pole_imaginary = phase * beside + tilt * second_imaginary
            from_real = dipole + drive_real * pole - drive_imaginary * pole_imaginary
            from_imaginary = dipole_imaginary + drive_real * pole_imaginary + drive_imaginary * pole
            # e^{-z}
            turns = (phase * PER_TURN + TO_WHOLE) - TO_WHOLE
            a = ((phase - turns * TURN_HIGH) - turns * TURN_LOW) * QUARTER
            b = a * a
            c = ONE + b * (C1 + b * (C2 + b * (C3 + b * C4)))
            s = a * (ONE + b * (S1 + b * (S2 + b * S3)))
            s, c = TWO * s * c, ONE - TWO * s * s
            s, c = TWO * s * c, ONE - TWO * s * s
            y = first * EIGHTH
            e = ONE - y * (ONE - y * (E2 + y * (E3 + y * (E4 + y * E5))))
            e = e * e
            e = e * e
            e = e * e
            size = e * over * weight
            real[i] = size * (c * from_real + s * from_imaginary)
            imaginary[i] = size * (c * from_imaginary - s * from_real)
        for i in range(m):
            matrix[j, i] += np.complex64(
                complex(
                    factor_real * real[i] - factor_imaginary * imaginary[i],
                    factor_real * imaginary[i] + factor_imaginary * real[i],
                )
            )


# Elements seen from close by: what the one point misses, for any frequency at once.
#
# The static part of a layer is known in closed form: the integral of d(1/r)/dn over a flat polygon is the solid angle
# it fills (van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125-126), that of 1/r is a sum over its sides
# (Wilton et al., IEEE Trans. Antennas Propag. 32 (1984) 276-281).  The rest is smooth; as a power series in k its
# coefficients are integrals of powers of r, here by 16 points.  What the one point gives has such a series as well.  So
# what has to be added is a polynomial in k for each close pair, worked out once for a mesh.

POWERS = 6
"""Powers of k kept in the smooth rest; at 2 diagonals' distance and 6 elements in a wavelength k r is below 3."""
PER_SPHERE = 0.07957747154594767


@inlined
def solid_angle(ax, ay, az, bx, by, bz, cx, cy, cz):  # type: ignore[no-untyped-def]
    """Solid angle of a triangle with corners a, b, c as seen from the origin; positive if it turns its back."""
    volume = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    a = np.sqrt(ax * ax + ay * ay + az * az)
    b = np.sqrt(bx * bx + by * by + bz * bz)
    c = np.sqrt(cx * cx + cy * cy + cz * cz)
    below = a * b * c + (ax * bx + ay * by + az * bz) * c
    below += (ax * cx + ay * cy + az * cz) * b + (bx * cx + by * cy + bz * cz) * a
    return 2.0 * np.arctan2(volume, below)


@inlined
def over_distance(corners, j, normal, x, y, z, height, angle):  # type: ignore[no-untyped-def]
    """Integral of 1/r over quadrilateral j (n, 4, 3) from a point at a height above its plane, its solid angle known.

    Corners run counter-clockwise about the normal.
    """
    total = -abs(height) * abs(angle)
    for side in range(4):
        after = (side + 1) % 4
        ax, ay, az = corners[j, side, 0] - x, corners[j, side, 1] - y, corners[j, side, 2] - z
        bx, by, bz = corners[j, after, 0] - x, corners[j, after, 1] - y, corners[j, after, 2] - z
        tx, ty, tz = bx - ax, by - ay, bz - az
        length = np.sqrt(tx * tx + ty * ty + tz * tz)
        if length < 1e-9:
            continue
        tx, ty, tz = tx / length, ty / length, tz / length
        ux, uy, uz = ty * normal[2] - tz * normal[1], tz * normal[0] - tx * normal[2], tx * normal[1] - ty * normal[0]
        away = ax * ux + ay * uy + az * uz
        start, stop = ax * tx + ay * ty + az * tz, bx * tx + by * ty + bz * tz
        square = away * away + height * height
        if square < 1e-18:
            continue
        total += away * (np.arcsinh(stop / np.sqrt(square)) - np.arcsinh(start / np.sqrt(square)))
    return total


@inlined
def add_moments(row, points, weights, normal, j, x, y, z):  # type: ignore[no-untyped-def]
    """Add to a row (2, powers) the integrals of both kernels' powers by points (n, q, 3), weights over 4 pi."""
    for p in range(points.shape[1]):
        dx, dy, dz = points[j, p, 0] - x, points[j, p, 1] - y, points[j, p, 2] - z
        r = np.sqrt(dx * dx + dy * dy + dz * dz)
        slope = (dx * normal[0] + dy * normal[1] + dz * normal[2]) / r
        term = weights[j, p]
        for power in range(2, POWERS + 1):
            row[0, power] -= term * slope
            term *= r
        term = weights[j, p]
        for power in range(1, POWERS + 1):
            row[1, power] += term
            term *= r


@inlined
def take_off_point(row, middle, shape, weight, least, normal, x, y, z):  # type: ignore[no-untyped-def]
    """Take off a row (2, powers) what the one point of `add_layers` gives, as a power series in k.

    In u = -jkr it is e^u times a polynomial, and e^u u^m has n! / (n - m)! of u^n / n!.
    """
    dx, dy, dz = middle[0] - x, middle[1] - y, middle[2] - z
    square = max(dx * dx + dy * dy + dz * dz, least)
    r = np.sqrt(square)
    one = dx * shape[0, 0] + dy * shape[0, 1] + dz * shape[0, 2]
    other = dx * shape[1, 0] + dy * shape[1, 1] + dz * shape[1, 2]
    spread = 0.0
    for axis in range(3):
        spread += 0.5 * (shape[0, axis] * shape[0, axis] + shape[1, axis] * shape[1, axis])
    tilt, flat = 0.5 * (one * one + other * other) / (square * square), spread / square
    height = (dx * normal[0] + dy * normal[1] + dz * normal[2]) / square
    whole, beside = 1.0 + 15.0 * tilt - 3.0 * flat, 3.0 * tilt - flat
    size = weight / r
    row[0, 0] += size * height * whole
    row[1, 0] -= size * (1.0 + beside)
    for power in range(1, POWERS + 1):
        size *= r
        n = float(power)
        twice, thrice = n * (n - 1.0), n * (n - 1.0) * (n - 2.0)
        if power > 1:
            found = -whole * (1.0 - n) + twice * (flat - 6.0 * tilt) + thrice * tilt
            row[0, power] -= size * height * found / (1.0 - n)
        row[1, power] -= size * (1.0 + (1.0 - n) * beside + twice * tilt)


@kernel
def count_close(middles, reach, targets):  # type: ignore[no-untyped-def]
    """How many targets (m, 3) lie within `reach` (n,) of the middles (n, 3), all elements together."""
    count = 0
    for j in range(middles.shape[0]):
        for i in range(targets.shape[0]):
            dx, dy, dz = targets[i, 0] - middles[j, 0], targets[i, 1] - middles[j, 1], targets[i, 2] - middles[j, 2]
            if dx * dx + dy * dy + dz * dz < reach[j] * reach[j]:
                count += 1
    return count


@kernel
def close_pairs(corners, normals, many, many_weights, middles, shapes, sizes, reach, targets, own, pairs, series):  # type: ignore[no-untyped-def]
    """Fill pairs (c, 2) of element and target within reach, and what `add_layers` misses, series (c, 2, powers + 1).

    series[:, 0] belongs to dG/dn and series[:, 1] to G, in powers of k without the factors of their series.
    many: points (n, q, 3), weights over 4 pi.  own: whether target i lies on element i, in its plane.
    """
    count = 0
    for j in range(middles.shape[0]):
        normal = normals[j]
        for i in range(targets.shape[0]):
            x, y, z = targets[i, 0], targets[i, 1], targets[i, 2]
            dx, dy, dz = x - middles[j, 0], y - middles[j, 1], z - middles[j, 2]
            if dx * dx + dy * dy + dz * dz >= reach[j] * reach[j]:
                continue
            pairs[count, 0], pairs[count, 1] = j, i
            row = series[count]
            count += 1
            a, b, c, d = corners[j, 0], corners[j, 1], corners[j, 2], corners[j, 3]
            height = dx * normal[0] + dy * normal[1] + dz * normal[2]
            angle = 0.0
            if not (own and i == j) and abs(height) > 1e-9:
                angle = solid_angle(
                    a[0] - x, a[1] - y, a[2] - z, b[0] - x, b[1] - y, b[2] - z, c[0] - x, c[1] - y, c[2] - z
                ) + solid_angle(
                    a[0] - x, a[1] - y, a[2] - z, c[0] - x, c[1] - y, c[2] - z, d[0] - x, d[1] - y, d[2] - z
                )
            row[0, 0] = -angle * PER_SPHERE
            row[1, 0] = over_distance(corners, j, normal, x, y, z, height, angle) * PER_SPHERE
            add_moments(row, many, many_weights, normal, j, x, y, z)
            take_off_point(row, middles[j], shapes[j], sizes[j, 0], sizes[j, 1], normal, x, y, z)
    return count


@kernel
def add_corrections(pairs, series, first, second, drive, factor, matrix):  # type: ignore[no-untyped-def]
    """Add `factor` times what is missed for close pairs to a matrix (n, m) of complex64.

    first, second: (powers + 1,) factors of the powers for dG/dn and for G; drive (n,) complex: -j k beta.
    """
    for c in range(pairs.shape[0]):
        j, i = pairs[c, 0], pairs[c, 1]
        missed = 0.0j
        for power in range(first.shape[0]):
            missed += first[power] * series[c, 0, power]
        if drive[j] != 0.0:
            other = 0.0j
            for power in range(second.shape[0]):
                other += second[power] * series[c, 1, power]
            missed += drive[j] * other
        matrix[j, i] += np.complex64(factor * missed)
