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
    middle = 0.5 * (across_cells - 1)
    for i in range(rows):
        for m in range(count):
            x = origin[0] + i * grid - points[m, 0]
            one, other, square = along[m, 0], along[m, 1], cosine[m] * cosine[m]
            # (u^2 + v^2) of a place beside the point is a y^2 + b y + d
            a = other * other * square + one * one
            b = 2.0 * x * one * other * (square - 1.0)
            d = x * x * (one * one * square + other * other)
            for band in range(bands):
                whole = reach[m] * wavelength[band]
                inner = b * b - 4.0 * a * (d - whole)
                if inner <= 0.0:
                    break  # and so are all shorter waves
                half, start = math.sqrt(inner) / (2.0 * a), points[m, 1] - origin[1] - b / (2.0 * a)
                j0 = max(0, int(math.ceil((start - half) / grid)))
                j1 = min(across_cells - 1, int(math.floor((start + half) / grid)))
                heard = max(energy[m, band], 0.0)
                if j1 < j0 or heard == 0.0:
                    continue
                shorter = 1.0 / whole
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


# A patch on a wall as seen from a source and an ear: arrays in, arrays out.


@kernel
def add_patch_sums(sides, source, ear, whole, cells, step, wavenumber, total):  # type: ignore[no-untyped-def]
    """Add the integral of e^{-jk (r_s + r_e - L)}/(r_s r_e) over a parallelogram to total (m, f), row by row.

    sides (2, 3) from its first corner, which is the origin; source, ear (m, 3) in m, whole (m,) their L; cells (2,)
    how many along each side; step in m.  All cells of one delay are taken together: each is shared between the two
    nearest multiples of `step`, which takes sinc^2(k step/2) off the sum and is put right, and only those are turned.
    """
    count = wavenumber.shape[0]
    first, second = cells[0], cells[1]
    area = np.empty(3)
    for axis in range(3):
        one, two = (axis + 1) % 3, (axis + 2) % 3
        area[axis] = sides[0, one] * sides[1, two] - sides[0, two] * sides[1, one]
    weight = math.sqrt(area[0] ** 2 + area[1] ** 2 + area[2] ** 2) / (first * second)
    turn = np.empty(count, np.complex128)
    mend = np.empty(count)
    now = np.empty(count, np.complex128)
    for f in range(count):
        turn[f] = complex(math.cos(wavenumber[f] * step), -math.sin(wavenumber[f] * step))
        half = 0.5 * wavenumber[f] * step
        mend[f] = (half / math.sin(half)) ** 2 if half > 1e-9 else 1.0
    for row in range(source.shape[0]):
        most = 0.0  # the delay is convex, so it is largest at a corner
        for corner in range(4):
            near, far = 0.0, 0.0
            for axis in range(3):
                x = (corner % 2) * sides[0, axis] + (corner // 2) * sides[1, axis]
                near += (x - source[row, axis]) ** 2
                far += (x - ear[row, axis]) ** 2
            most = max(most, math.sqrt(near) + math.sqrt(far) - whole[row])
        bins = np.zeros(int(max(most, 0.0) / step) + 3)
        for i in range(first):
            u = (i + 0.5) / first
            for j in range(second):
                v = (j + 0.5) / second
                x = u * sides[0, 0] + v * sides[1, 0]
                y = u * sides[0, 1] + v * sides[1, 1]
                z = u * sides[0, 2] + v * sides[1, 2]
                a, b, c = x - source[row, 0], y - source[row, 1], z - source[row, 2]
                near = math.sqrt(a * a + b * b + c * c)
                a, b, c = x - ear[row, 0], y - ear[row, 1], z - ear[row, 2]
                far = math.sqrt(a * a + b * b + c * c)
                delay = max(near + far - whole[row], 0.0) / step
                low = int(delay)
                share = weight / (near * far)
                bins[low] += share * (1.0 - (delay - low))
                bins[low + 1] += share * (delay - low)
        start = 0
        while start < bins.shape[0] - 1 and bins[start] == 0.0:
            start += 1
        for f in range(count):
            far = wavenumber[f] * step * start
            now[f] = complex(math.cos(far), -math.sin(far)) * mend[f]
        for place in range(start, bins.shape[0]):
            value = bins[place]
            for f in range(count):
                total[row, f] += value * now[f]
                now[f] = now[f] * turn[f]


@kernel
def fill_waves(sides, place, cells, wavenumber, waves):  # type: ignore[no-untyped-def]
    """Write e^{-jkr}/r at the middles of the cells of a parallelogram into the first of waves (m, >= n1, >= n2).

    sides (2, 3) from its first corner, which is the origin; place (m, 3) of each source; cells (2,) along each side.
    """
    for row in range(place.shape[0]):
        for i in range(cells[0]):
            u = (i + 0.5) / cells[0]
            for j in range(cells[1]):
                v = (j + 0.5) / cells[1]
                square = 0.0
                for axis in range(3):
                    square += (u * sides[0, axis] + v * sides[1, axis] - place[row, axis]) ** 2
                r = math.sqrt(square)
                waves[row, i, j] = complex(math.cos(wavenumber * r), -math.sin(wavenumber * r)) / r
