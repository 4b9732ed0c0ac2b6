"""Fractions of panels and spread of surface maps: arrays in, arrays out."""

from __future__ import annotations

import math

import numpy as np

from sim.rays.kinds_of_kernels import flowing, kernel
from sim.rays.shape_kernels import inside_polygon

RESTART = 64
"""On an even grid each turn is the one before times a constant; anew after so many, so that rounding does not grow."""


@kernel
def add_turned(total, smooth, delay, wavenumber, below, part, even):  # type: ignore[no-untyped-def]
    """Add smooth(k) e^{-j delay k} of every corner to total (m, f).

    smooth (m, n, knot) complex, interpolated between knots `below` (f,) and the next by `part` (f,); delay (m, n) in
    metres; wavenumber (f,) in rad/m, `even` if its steps are all the same from the second on.
    """
    rows, corners, _ = smooth.shape
    count = wavenumber.shape[0]
    step = wavenumber[2] - wavenumber[1] if count > 2 else 0.0
    for row in range(rows):
        for corner in range(corners):
            values = smooth[row, corner]
            silent = True
            for knot in range(values.shape[0]):
                if values[knot] != 0.0:
                    silent = False
                    break
            if silent:
                continue
            far = delay[row, corner]
            turn = complex(math.cos(far * step), -math.sin(far * step))
            now = complex(1.0, 0.0)
            for f in range(count):
                if even and f % RESTART > 1:
                    now = now * turn
                else:
                    now = complex(math.cos(far * wavenumber[f]), -math.sin(far * wavenumber[f]))
                low = below[f]
                value = values[low] if part[f] == 0.0 else values[low] * (1.0 - part[f]) + values[low + 1] * part[f]
                total[row, f] += value * now


@kernel
def spline_between(real, imaginary, rows, columns, values):  # type: ignore[no-untyped-def]
    """Fill values (n,) with a cubic spline of two tables (r, c) of coefficients at rows and columns (n,), not whole.

    Past its borders a table goes on as it is there.
    """
    last_row, last_column = real.shape[0] - 1, real.shape[1] - 1
    across = np.empty(4)
    for i in range(values.shape[0]):
        row, column = int(rows[i]), int(columns[i])
        t = columns[i] - column
        across[0] = (1.0 - t) ** 3 / 6.0
        across[1] = (t * t * (t - 2.0) * 3.0 + 4.0) / 6.0
        across[3] = t**3 / 6.0
        across[2] = 1.0 - across[0] - across[1] - across[3]
        t = rows[i] - row
        first, second, last = (1.0 - t) ** 3 / 6.0, (t * t * (t - 2.0) * 3.0 + 4.0) / 6.0, t**3 / 6.0
        total_real, total_imaginary = 0.0, 0.0
        for a in range(4):
            down = first if a == 0 else (second if a == 1 else (last if a == 3 else 1.0 - first - second - last))
            r = min(max(row + a - 1, 0), last_row)
            here_real, here_imaginary = 0.0, 0.0
            for b in range(4):
                c = min(max(column + b - 1, 0), last_column)
                here_real += across[b] * real[r, c]
                here_imaginary += across[b] * imaginary[r, c]
            total_real += down * here_real
            total_imaginary += down * here_imaginary
        values[i] = complex(total_real, total_imaginary)


# Surface maps: each reflection point spreads its energy over the first Fresnel zone around it.


@kernel
def points_inside(points, border):  # type: ignore[no-untyped-def]
    """Whether each point (n, 2) lies in the polygon with holes whose sides are border (b, 4)."""
    found = np.empty(points.shape[0], np.bool_)
    for n in range(points.shape[0]):
        found[n] = inside_polygon(points[n, 0], points[n, 1], border)
    return found


POWERS = 5
"""Coefficients of the weight along one row of cells, a polynomial of the fourth degree."""
FEW_CELLS = 16
"""A zone that covers no more cells of a row is added cell by cell."""


@flowing
def spread(points, along, cosine, reach, energy, wavelength, origin, grid, across_cells, inside, total):  # type: ignore[no-untyped-def]
    """Add samples to a grid: total (band, g), all bands at once.

    points (m, 2) reflection points in the plane; along (m, 2) unit direction of the plane of incidence; cosine (m,) of
    the angle of incidence; reach (m,) = d1 d2/(d1 + d2); energy (m, band); wavelength (band,), the longest first;
    energies below nothing count as none.  Grid
    cell (i, j) has its middle at origin + (i, j) grid and number i * across_cells + j; inside (i, j) is its place in
    `total`, or -1 outside the facet.

    Weight (1 - rho^2)^2 with rho = 1 on the border of the first Fresnel zone: 1 at the mirror point, flat there, and
    meeting zero without a step.  The zone is longer along the plane of incidence by 1/cosine.

    Along a row of cells the weight is a polynomial from one border of the zone to the other.  So each sample adds its
    coefficients where it begins and takes them off where it ends, and every cell is worked out once for all samples:
    within 1e-12 of the largest value of the row of what they add cell by cell.
    """
    rows, bands, count = inside.shape[0], wavelength.shape[0], points.shape[0]
    changes = np.zeros((bands, across_cells + 1, POWERS))
    running = np.zeros((bands, across_cells + 1), np.int64)
    far = np.zeros(bands, np.int64)
    kept = np.empty(POWERS)
    middle, per_cell = 0.5 * (across_cells - 1), 1.0 / grid
    zones, shorter_by = np.empty((count, bands)), np.empty((count, bands))
    for m in range(count):
        for band in range(bands):
            zones[m, band] = reach[m] * wavelength[band]
            shorter_by[m, band] = 1.0 / zones[m, band]
    for i in range(rows):
        for m in range(count):
            x = origin[0] + i * grid - points[m, 0]
            one, other, square = along[m, 0], along[m, 1], cosine[m] * cosine[m]
            # (u^2 + v^2) of a place beside the point is a y^2 + b y + d
            a = other * other * square + one * one
            b = 2.0 * x * one * other * (square - 1.0)
            d = x * x * (one * one * square + other * other)
            flat, halved = b * b - 4.0 * a * d, 0.5 / a
            start = points[m, 1] - origin[1] - b * halved
            for band in range(bands):
                inner = flat + 4.0 * a * zones[m, band]
                if inner <= 0.0:
                    break  # and so are all shorter waves
                half = math.sqrt(inner) * halved
                j0 = max(0, int(math.ceil((start - half) * per_cell)))
                j1 = min(across_cells - 1, int(math.floor((start + half) * per_cell)))
                heard = max(energy[m, band], 0.0)
                if j1 < j0 or heard == 0.0:
                    continue
                shorter = shorter_by[m, band]
                if j1 - j0 < FEW_CELLS:
                    for j in range(j0, j1 + 1):
                        g = inside[i, j]
                        if g >= 0:
                            y = origin[1] + j * grid - points[m, 1]
                            part = max(0.0, 1.0 - (a * y * y + b * y + d) * shorter)
                            total[band, g] += heard * part * part
                    continue
                # 1 - rho^2 as r0 + r1 t + r2 t^2, t in metres from the middle of the row
                y = origin[1] + middle * grid - points[m, 1]
                r0 = 1.0 - (a * y * y + b * y + d) * shorter
                r1, r2 = -(2.0 * a * y + b) * shorter, -a * shorter
                kept[0], kept[1], kept[2] = r0 * r0, 2.0 * r0 * r1, r1 * r1 + 2.0 * r0 * r2
                kept[3], kept[4] = 2.0 * r1 * r2, r2 * r2
                for power in range(POWERS):
                    changes[band, j0, power] += heard * kept[power]
                    changes[band, j1 + 1, power] -= heard * kept[power]
                running[band, j0] += 1
                running[band, j1 + 1] -= 1
                far[band] = 1
        for band in range(bands):
            if far[band] == 0:
                continue
            far[band] = 0
            for power in range(POWERS):
                kept[power] = 0.0
            open_now = 0
            for j in range(across_cells + 1):
                open_now += running[band, j]
                running[band, j] = 0
                for power in range(POWERS):
                    kept[power] += changes[band, j, power]
                    changes[band, j, power] = 0.0
                if open_now == 0:
                    for power in range(POWERS):
                        kept[power] = 0.0
                    continue
                g = inside[i, j]
                if g >= 0:
                    t = (j - middle) * grid
                    value = kept[0] + t * (kept[1] + t * (kept[2] + t * (kept[3] + t * kept[4])))
                    total[band, g] += max(value, 0.0)
