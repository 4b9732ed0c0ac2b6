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
    """Sums (2 faces, directions, real and imaginary, rows of eight) of what comes in or goes out, and cells used."""
    return np.zeros((2, SIZE, 2, rows)), np.zeros((2, SIZE), np.int64)


@part
def lay_waves(cells, here, count, store, seconds, grid, parts, edge_legs, fades, rows, wedges, drive, samples):  # type: ignore[no-untyped-def]
    """Sum the waves of `count` legs on the grid of directions, and with weights `seconds` (n,) in here (2, f).

    cells: as from `new_grids`, cleared here; fades: (e,) weights on the grid; rows: wavenumbers, which of their rows
    follow by a step, and the step (see `find_steps`); drive counts where there are `samples` of it.
    """
    wavenumbers, follows, step = rows
    sums, used = cells
    row = ROW_BYTES * (wavenumbers.shape[0] // LANES)
    k_at, drive_from, sums_at = wavenumbers.ctypes.data, drive.ctypes.data, sums.ctypes.data
    here_at = here.ctypes.data
    here[:] = 0.0
    for face in range(2):
        for g in range(SIZE):
            if used[face, g] == 1:
                used[face, g] = 0
                sums[face, g] = 0.0
    for i in range(count):
        h = store[0][i]
        other = edge_legs[h, 0]
        amplitude, extra = store[3][i] * fades[other], seconds[i]
        if amplitude == 0.0 and extra == 0.0:
            continue
        length = spread_double(store[4][i])
        sample, fraction = 0, 0.0
        if samples > 0:
            sample, fraction = sample_at(store[1][i], wedges[4][other], samples, row)
            sample += 2 * row * samples * other
        first, second = spread_double(amplitude * parts[i, 0]), spread_double(amplitude * parts[i, 1])
        third, fourth = spread_double(amplitude * parts[i, 2]), spread_double(amplitude * parts[i, 3])
        cell = sums_at + 2 * row * (SIZE * edge_legs[h, 3] + grid[i])
        if amplitude != 0.0:
            used[edge_legs[h, 3], grid[i] : grid[i] + 4] = 1
        more = spread_double(extra)
        plain = wave_of(load_doubles(k_at) * length)
        turn = plain
        if step > 0.0:
            turn = wave_of(spread_double(step) * length)
        for at in range(0, row, ROW_BYTES):
            if follows[at // ROW_BYTES] == 1:
                plain = (plain[0] * turn[0] - plain[1] * turn[1], plain[0] * turn[1] + plain[1] * turn[0])
            elif at > 0:
                plain = wave_of(load_doubles(k_at + at) * length)
            wave = plain
            if samples > 0:
                wave = driven(plain, drive_from + sample + at, row, fraction)
            if extra != 0.0:
                add_at(here_at + at, more * wave[0])
                add_at(here_at + row + at, more * wave[1])
            if amplitude != 0.0:
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
    in_at, out_at, result_at = arriving[0].ctypes.data, leaving[0].ctypes.data, result.ctypes.data
    for at in range(0, row, ROW_BYTES):
        total_real, total_imaginary = spread_double(0.0), spread_double(0.0)
        for p in range(2):
            for g in range(SIZE):
                if arriving[1][p, g] == 0:
                    continue
                real, imaginary = spread_double(0.0), spread_double(0.0)
                for q in range(2):
                    here = out_at + 2 * row * SIZE * q + at
                    for n in range(SIZE):
                        if leaving[1][q, n] == 1:
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
