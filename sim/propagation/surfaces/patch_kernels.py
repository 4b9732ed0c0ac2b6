"""A patch on a wall as seen from a source and an ear: arrays in, arrays out."""

from __future__ import annotations

import math

import numpy as np

from sim.rays.kinds_of_kernels import kernel


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
