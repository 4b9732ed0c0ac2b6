"""How the waves of eight pairs of source and ear act on each other over a rectangle: numbers in, sums out."""

from __future__ import annotations

import numpy as np

from sim.rays.kinds_of_kernels import inlined, kernel
from sim.rays.lane_functions import wave_of
from sim.rays.lanes import load_doubles, multiply_add, spread_double, square_root, store

LANES, ROW = 8, 64
"""Doubles worked on at once, and their bytes."""
SUMS = 11
"""What `couple` adds up: see there."""


@inlined
def add(at, share, value):  # type: ignore[no-untyped-def]
    """Add share * value to eight doubles at an address."""
    store(at, multiply_add(share, value, load_doubles(at)))


@inlined
def wave_at(place, x, y, k):  # type: ignore[no-untyped-def]
    """Real and imaginary part of e^{-jkr}/r and 1/r at (x, y) on the face, from eight places (3, 8) by address."""
    dx = spread_double(x) - load_doubles(place)
    dy = spread_double(y) - load_doubles(place + ROW)
    z = load_doubles(place + 2 * ROW)
    r = square_root(multiply_add(dx, dx, multiply_add(dy, dy, z * z)))
    c, s = wave_of(r * spread_double(k))
    one = spread_double(1.0) / r
    return c * one, s * one, one


@inlined
def folded(out, step, a, b, c, d):  # type: ignore[no-untyped-def]
    """Write what four mirrored cells are in the four parities: even or odd along, then across; `step` bytes apart."""
    along, across = a + b, c + d
    store(out, along + across)
    store(out + 2 * step, along - across)
    along, across = a - b, c - d
    store(out + step, along + across)
    store(out + 3 * step, along - across)


@inlined
def weighed(weights, q, at, step):  # type: ignore[no-untyped-def]
    """Sums of four rows of eight doubles, the next four `step` bytes on, each with its weight of wave q."""
    sr, si, er, ei = spread_double(0.0), spread_double(0.0), spread_double(0.0), spread_double(0.0)
    for i in range(weights.shape[1]):
        m = spread_double(weights[q, i])
        sr = multiply_add(m, load_doubles(at), sr)
        si = multiply_add(m, load_doubles(at + ROW), si)
        er = multiply_add(m, load_doubles(at + 2 * ROW), er)
        ei = multiply_add(m, load_doubles(at + 3 * ROW), ei)
        at += step
    return sr, si, er, ei


@kernel
def couple(lengths, source, ear, cells, along, across, green, wavenumber, sums):  # type: ignore[no-untyped-def]
    """Add up waves of pairs of places over the cells of a rectangle, eight pairs at a time.

    lengths (2,) in m; source, ear (g, 3, 8) in m from the middle of the rectangle, the third out of it; cells (2,)
    along each side; along, across (2, q, half of the cells) cosines and sines of the waves q over the cells beside the
    middle; green (2, q1, q2) real and imaginary part of what each wave gives back, with how often it counts; wavenumber
    in rad/m.  sums (g, 11, 8): real and imaginary part of the sums of e_s G e_e, conj(e_s) G e_s, conj(e_e) G e_e and
    e_s e_e, then the sums of |e_s e_e|, |e_s|^2 and |e_e|^2.

    Cells that mirror each other about the middle are taken together: G does not mix what is even and what is odd, which
    leaves a quarter of the work.
    """
    half, other = along.shape[2], across.shape[2]
    waves, turns = along.shape[1], across.shape[1]
    grid = np.empty((4, half, other, 4, LANES))  # parity, cell, cell, parts of source and ear, lane
    row = np.empty((other, 4, LANES))
    grid_at, row_at = grid.ctypes.data, row.ctypes.data
    cell, line = 4 * ROW, 4 * ROW * other
    parity = line * half
    dx, dy = lengths[0] / cells[0], lengths[1] / cells[1]
    x0, y0 = (0.0 if cells[0] % 2 else 0.5), (0.0 if cells[1] % 2 else 0.5)
    for g in range(source.shape[0]):
        s_at, e_at, sums_at = source[g].ctypes.data, ear[g].ctypes.data, sums[g].ctypes.data
        for i in range(half):
            for j in range(other):
                x, y = (i + x0) * dx, (j + y0) * dy
                once = (0.5 if x == 0.0 else 1.0) * (0.5 if y == 0.0 else 1.0)  # a cell in the middle is its own mirror
                share, at = spread_double(once), grid_at + line * i + cell * j
                for n in range(4):
                    px, py = (x if n < 2 else -x), (y if n % 2 == 0 else -y)
                    sr, si, s1 = wave_at(s_at, px, py, wavenumber)
                    er, ei, e1 = wave_at(e_at, px, py, wavenumber)
                    both = s1 * e1
                    add(sums_at + 6 * ROW, share, sr * er - si * ei)
                    add(sums_at + 7 * ROW, share, sr * ei + si * er)
                    add(sums_at + 8 * ROW, share, both)
                    add(sums_at + 9 * ROW, share, s1 * s1)
                    add(sums_at + 10 * ROW, share, e1 * e1)
                    store(at + parity * n, sr * share)
                    store(at + parity * n + ROW, si * share)
                    store(at + parity * n + 2 * ROW, er * share)
                    store(at + parity * n + 3 * ROW, ei * share)
                for part in range(4):
                    here = at + ROW * part
                    a, b = load_doubles(here), load_doubles(here + parity)
                    c, d = load_doubles(here + 2 * parity), load_doubles(here + 3 * parity)
                    folded(here, parity, a, b, c, d)
        for n in range(4):
            first, second = along[n // 2], across[n % 2]
            for p in range(waves):
                for j in range(other):
                    sr, si, er, ei = weighed(first, p, grid_at + parity * n + cell * j, line)
                    at = row_at + cell * j
                    store(at, sr)
                    store(at + ROW, si)
                    store(at + 2 * ROW, er)
                    store(at + 3 * ROW, ei)
                for q in range(turns):
                    sr, si, er, ei = weighed(second, q, row_at, cell)
                    real, imaginary = spread_double(green[0, p, q]), spread_double(green[1, p, q])
                    br, bi = sr * er - si * ei, sr * ei + si * er
                    add(sums_at, real, br)
                    add(sums_at, spread_double(-green[1, p, q]), bi)
                    add(sums_at + ROW, real, bi)
                    add(sums_at + ROW, imaginary, br)
                    own = sr * sr + si * si
                    add(sums_at + 2 * ROW, real, own)
                    add(sums_at + 3 * ROW, imaginary, own)
                    own = er * er + ei * ei
                    add(sums_at + 4 * ROW, real, own)
                    add(sums_at + 5 * ROW, imaginary, own)
