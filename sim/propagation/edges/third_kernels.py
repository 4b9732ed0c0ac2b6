"""Chains of three edges about one node of the middle edge, eight frequencies at once: arrays in, arrays out.

What the middle edge does to a wave depends only on the sum of two directions along it.  So what comes in over one leg
and what goes out over one leg are each laid on a grid of directions, and the two grids meet in one table.
"""

from __future__ import annotations

import numpy as np

from sim.propagation.edges.phase_kernels import LANES, ROW_BYTES, driven, sample_at, wave_of
from sim.rays.kinds_of_kernels import kernel, part, whole
from sim.rays.lanes import add_at, load_doubles, multiply_add, spread_double

STEP = 0.5
REACH = 11
"""Directions along an edge, asinh(cot of the angle with it), are laid on a grid of -REACH .. REACH steps; cubic
interpolation of the smooth function of the middle node is then within 2e-3 of it."""
SIZE = 2 * REACH + 1
NO_SAMPLES = whole(0)


@kernel
def lay_on_grid(grid, directions, parts):  # type: ignore[no-untyped-def]
    """Fill first cell and four cubic weights of each direction: grid (n,), parts (n, 4)."""
    for i in range(directions.shape[0]):
        x = min(max(directions[i] / STEP + REACH, 0.0), 2.0 * REACH)
        g = min(max(int(x) - 1, 0), 2 * REACH - 3)
        t = x - g
        grid[i] = g
        parts[i, 0] = -(t - 1.0) * (t - 2.0) * (t - 3.0) / 6.0
        parts[i, 1] = t * (t - 2.0) * (t - 3.0) / 2.0
        parts[i, 2] = -t * (t - 1.0) * (t - 3.0) / 2.0
        parts[i, 3] = t * (t - 1.0) * (t - 2.0) / 6.0


@part
def new_grids(rows):  # type: ignore[no-untyped-def]
    """Sums (2 faces, directions, real and imaginary, rows of eight) of what comes in, and of what goes out."""
    return np.zeros((2, SIZE, 2, rows)), np.zeros((2, SIZE, 2, rows))


@part
def lay_waves(sums, count, store, grid, parts, edge_legs, fades, wavenumbers, wedges, drive, samples):  # type: ignore[no-untyped-def]
    """Sum the waves of `count` legs on the grid of directions; drive counts where there are `samples` of it."""
    row = ROW_BYTES * (wavenumbers.shape[0] // LANES)
    k_at, drive_from, sums_at = wavenumbers.ctypes.data, drive.ctypes.data, sums.ctypes.data
    for face in range(2):
        for g in range(SIZE):
            for i in range(2):
                for f in range(wavenumbers.shape[0]):
                    sums[face, g, i, f] = 0.0
    for i in range(count):
        h = store[0][i]
        other = edge_legs[h, 0]
        amplitude = store[3][i] * fades[other]
        if amplitude == 0.0:
            continue
        length = spread_double(store[4][i])
        sample, fraction = 0, 0.0
        if samples > 0:
            sample, fraction = sample_at(store[1][i], wedges[4][other], samples, row)
            sample += 2 * row * samples * other
        first, second = spread_double(amplitude * parts[i, 0]), spread_double(amplitude * parts[i, 1])
        third, fourth = spread_double(amplitude * parts[i, 2]), spread_double(amplitude * parts[i, 3])
        cell = sums_at + 2 * row * (SIZE * edge_legs[h, 3] + grid[i])
        for at in range(0, row, ROW_BYTES):
            wave = wave_of(load_doubles(k_at + at) * length)
            if samples > 0:
                wave = driven(wave, drive_from + sample + at, row, fraction)
            add_at(cell + at, first * wave[0])
            add_at(cell + row + at, first * wave[1])
            add_at(cell + 2 * row + at, second * wave[0])
            add_at(cell + 3 * row + at, second * wave[1])
            add_at(cell + 4 * row + at, third * wave[0])
            add_at(cell + 5 * row + at, third * wave[1])
            add_at(cell + 6 * row + at, fourth * wave[0])
            add_at(cell + 7 * row + at, fourth * wave[1])


@part
def add_third(result, arriving, leaving, table, weight, wavenumbers):  # type: ignore[no-untyped-def]
    """Add to result (2, rows of eight) what comes in times the table times what goes out; table (2, 2, directions)."""
    row = ROW_BYTES * (wavenumbers.shape[0] // LANES)
    in_at, out_at, result_at = arriving.ctypes.data, leaving.ctypes.data, result.ctypes.data
    for at in range(0, row, ROW_BYTES):
        total_real, total_imaginary = spread_double(0.0), spread_double(0.0)
        for p in range(2):
            for g in range(SIZE):
                empty = True
                for f in range(at // 8, at // 8 + LANES):
                    if arriving[p, g, 0, f] != 0.0 or arriving[p, g, 1, f] != 0.0:
                        empty = False
                if empty:
                    continue
                real, imaginary = spread_double(0.0), spread_double(0.0)
                for q in range(2):
                    here = out_at + 2 * row * SIZE * q + at
                    for n in range(SIZE):
                        value = spread_double(table[p, q, g + n])
                        real = multiply_add(value, load_doubles(here), real)
                        imaginary = multiply_add(value, load_doubles(here + row), imaginary)
                        here += 2 * row
                cell = in_at + 2 * row * (SIZE * p + g) + at
                came_real, came_imaginary = load_doubles(cell), load_doubles(cell + row)
                total_real = total_real + (came_real * real - came_imaginary * imaginary)
                total_imaginary = total_imaginary + (came_real * imaginary + came_imaginary * real)
        scale = spread_double(weight)
        add_at(result_at + at, scale * total_real)
        add_at(result_at + row + at, scale * total_imaginary)
