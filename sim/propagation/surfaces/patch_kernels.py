"""A patch on a wall as seen from a source and an ear: arrays in, arrays out."""

from __future__ import annotations

import math

import numpy as np

from sim.rays.kinds_of_kernels import flowing


@flowing
def delays_of_cells(lengths, source, ear, whole, cells, step):  # type: ignore[no-untyped-def]
    """Integral of 1/(r_s r_e) over rectangles, by the delay r_s + r_e - L of each cell in multiples of `step`.

    lengths (2,) of the sides in m; source, ear (m, 3) in m from the middle, along both sides and out; whole (m,) their
    L; cells (2,) how many along each side; step in m.  Each cell is shared between the two nearest multiples.  Returns
    the shares (m, n) and how many of each row there are (m,).
    """
    many, first, second = source.shape[0], cells[0], cells[1]
    counts, longest = np.empty(many, np.int64), 0
    for row in range(many):
        most = 0.0  # the delay is convex, so it is largest at a corner
        for corner in range(4):
            x, y = (corner % 2 - 0.5) * lengths[0], (corner // 2 - 0.5) * lengths[1]
            near = (x - source[row, 0]) ** 2 + (y - source[row, 1]) ** 2 + source[row, 2] ** 2
            far = (x - ear[row, 0]) ** 2 + (y - ear[row, 1]) ** 2 + ear[row, 2] ** 2
            most = max(most, math.sqrt(near) + math.sqrt(far) - whole[row])
        counts[row] = int(most / step) + 3
        longest = max(longest, counts[row])
    shares = np.zeros((many, longest))
    delay, share, place = np.empty(second), np.empty(second), np.empty(second)
    weight = lengths[0] * lengths[1] / (first * second)
    for j in range(second):
        place[j] = ((j + 0.5) / second - 0.5) * lengths[1]
    for row in range(many):
        for i in range(first):
            x = ((i + 0.5) / first - 0.5) * lengths[0]
            near_row = (x - source[row, 0]) ** 2 + source[row, 2] ** 2
            far_row = (x - ear[row, 0]) ** 2 + ear[row, 2] ** 2
            near_y, far_y, length = source[row, 1], ear[row, 1], whole[row]
            for j in range(second):
                near = np.sqrt(near_row + (place[j] - near_y) ** 2)
                far = np.sqrt(far_row + (place[j] - far_y) ** 2)
                delay[j] = max(near + far - length, 0.0) / step
                share[j] = weight / (near * far)
            for j in range(second):
                low = int(delay[j])
                more = share[j] * (delay[j] - low)
                shares[row, low] += share[j] - more
                shares[row, low + 1] += more
    return shares, counts


@flowing
def turn_delays(shares, starts, step, wavenumber):  # type: ignore[no-untyped-def]
    """Sums (m, f) of shares times e^{-jk n step}, n from 0 in each row; those of row m begin at starts[m] (m + 1,).

    Sharing a cell between two multiples took sinc^2(k step/2) off the sum, which is put right.
    """
    count, many = wavenumber.shape[0], starts.shape[0] - 1
    total = np.empty((many, count), np.complex128)
    turn, mend, now, sums = np.empty((2, count)), np.empty(count), np.empty((2, count)), np.empty((2, count))
    for f in range(count):
        turn[0, f], turn[1, f] = math.cos(wavenumber[f] * step), -math.sin(wavenumber[f] * step)
        half = 0.5 * wavenumber[f] * step
        mend[f] = (half / math.sin(half)) ** 2 if half > 1e-9 else 1.0
    for row in range(many):
        start = starts[row]
        while start < starts[row + 1] - 1 and shares[start] == 0.0:
            start += 1
        for f in range(count):
            far = wavenumber[f] * step * (start - starts[row])
            now[0, f], now[1, f] = math.cos(far) * mend[f], -math.sin(far) * mend[f]
            sums[0, f], sums[1, f] = 0.0, 0.0
        for place in range(start, starts[row + 1]):
            value = shares[place]
            for f in range(count):
                a, b = now[0, f], now[1, f]
                sums[0, f] += value * a
                sums[1, f] += value * b
                now[0, f] = a * turn[0, f] - b * turn[1, f]
                now[1, f] = a * turn[1, f] + b * turn[0, f]
        for f in range(count):
            total[row, f] = complex(sums[0, f], sums[1, f])
    return total
