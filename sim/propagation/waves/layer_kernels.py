"""Layers of sound: what a unit of pressure on each element sends to each target, in single precision.

Element j, of pressure p_j and admittance beta, sends p_j times the integral over it of dG/dn - j k beta G, with
G = e^{-jkr} / (4 pi r) and n out of the body into the air (Kirchhoff-Helmholtz; Kirkup, The Boundary Element Method in
Acoustics).  Here the integral is a sum over a few points; `near_kernels` corrects it for targets close by.

Sines, cosines and exponentials are short series, so that the compiler can work on many targets at once.
"""

from __future__ import annotations

import numpy as np

from sim.rays.kinds_of_kernels import flowing

PER_TURN = np.float32(0.15915494309189535)
TURN_HIGH, TURN_LOW = np.float32(6.28125), np.float32(0.0019353071795864769)
"""2 pi in two parts, the first with so few bits that its products with whole turns are exact."""
TO_WHOLE = np.float32(12582912.0)
"""1.5 * 2^23: what is added to it and taken off again is rounded to a whole number."""
C1, C2, C3, C4 = np.float32(-1 / 2), np.float32(1 / 24), np.float32(-1 / 720), np.float32(1 / 40320)
S1, S2, S3 = np.float32(-1 / 6), np.float32(1 / 120), np.float32(-1 / 5040)
E2, E3, E4, E5 = np.float32(1 / 2), np.float32(-1 / 6), np.float32(1 / 24), np.float32(-1 / 120)
ONE, TWO, QUARTER, EIGHTH = np.float32(1.0), np.float32(2.0), np.float32(0.25), np.float32(0.125)
NOTHING = np.float32(0.0)


@flowing
def add_layers(targets, points, weights, normals, drive, wavenumber, damping, factor, matrix):  # type: ignore[no-untyped-def]
    """Add `factor` times the layers of elements (n) at targets (3, m) to a matrix (n, m) of complex64.

    All float32: points (n, q, 3) and weights (n, q) of the sums, in m2 and over 4 pi; normals (n, 3); drive (n, 2) real
    and imaginary part of -j k beta in 1/m; k = wavenumber - j damping in 1/m.  factor: complex64.
    """
    n, q, m = points.shape[0], points.shape[1], targets.shape[1]
    real, imaginary = np.empty(m, dtype=np.float32), np.empty(m, dtype=np.float32)
    xs, ys, zs = targets[0], targets[1], targets[2]
    factor_real, factor_imaginary = np.float32(factor.real), np.float32(factor.imag)
    for j in range(n):
        for i in range(m):
            real[i] = NOTHING
            imaginary[i] = NOTHING
        nx, ny, nz = normals[j, 0], normals[j, 1], normals[j, 2]
        drive_real, drive_imaginary = drive[j, 0], drive[j, 1]
        for p in range(q):
            px, py, pz, weight = points[j, p, 0], points[j, p, 1], points[j, p, 2], weights[j, p]
            for i in range(m):
                dx, dy, dz = px - xs[i], py - ys[i], pz - zs[i]
                square = dx * dx + dy * dy + dz * dz
                over = ONE / np.sqrt(square)
                distance = square * over
                slope = (dx * nx + dy * ny + dz * nz) * over
                phase = wavenumber * distance
                turns = (phase * PER_TURN + TO_WHOLE) - TO_WHOLE
                a = ((phase - turns * TURN_HIGH) - turns * TURN_LOW) * QUARTER
                b = a * a
                c = ONE + b * (C1 + b * (C2 + b * (C3 + b * C4)))
                s = a * (ONE + b * (S1 + b * (S2 + b * S3)))
                s, c = TWO * s * c, ONE - TWO * s * s
                s, c = TWO * s * c, ONE - TWO * s * s
                y = damping * distance * EIGHTH
                e = ONE - y * (ONE - y * (E2 + y * (E3 + y * (E4 + y * E5))))
                e = e * e
                e = e * e
                e = e * e
                size = e * over * weight
                from_real = drive_real - (damping + over) * slope
                from_imaginary = drive_imaginary - wavenumber * slope
                real[i] += size * (c * from_real + s * from_imaginary)
                imaginary[i] += size * (c * from_imaginary - s * from_real)
        for i in range(m):
            matrix[j, i] += np.complex64(
                complex(
                    factor_real * real[i] - factor_imaginary * imaginary[i],
                    factor_real * imaginary[i] + factor_imaginary * real[i],
                )
            )
