"""Waves of many paths summed on even frequencies, eight at a time: arrays in, arrays out."""

from __future__ import annotations

import numpy as np

from sim.propagation.edges.phase_kernels import LANES, ROW_BYTES
from sim.rays.kinds_of_kernels import kernel
from sim.rays.lane_functions import wave_of
from sim.rays.lanes import add_at, load_doubles, spread_double

RESTART = 32
"""The wave of eight frequencies is that of the eight before, turned; anew after so many, as rounding adds up."""


@kernel
def add_waves(total, group, gains, lengths, first, parts, wavenumbers):  # type: ignore[no-untyped-def]
    """Add to total (n, 2, f), real and imaginary, gains times e^{-jk length} of each path, f a multiple of eight.

    group (w,): row of total; gains (w, g): complex, at frequencies of their own; first (f,) and parts (f, 4): which
    four of these count at each of the even wavenumbers (f,), and how much; lengths (w,) in metres.
    """
    count = wavenumbers.shape[0]
    mine = np.empty((2, count))
    row = 8 * count
    step = wavenumbers[LANES] - wavenumbers[0]
    k_at, mine_at, total_at = wavenumbers.ctypes.data, mine.ctypes.data, total.ctypes.data
    for i in range(group.shape[0]):
        for f in range(count):
            g = first[f]
            real, imaginary = 0.0, 0.0
            for n in range(4):
                value = gains[i, g + n]
                real += parts[f, n] * value.real
                imaginary += parts[f, n] * value.imag
            mine[0, f], mine[1, f] = real, imaginary
        length = spread_double(lengths[i])
        turn = wave_of(spread_double(step) * length)
        wave = turn
        to = total_at + 2 * row * group[i]
        for at in range(0, row, ROW_BYTES):
            if (at // ROW_BYTES) % RESTART == 0:
                wave = wave_of(load_doubles(k_at + at) * length)
            else:
                wave = (wave[0] * turn[0] - wave[1] * turn[1], wave[0] * turn[1] + wave[1] * turn[0])
            real, imaginary = load_doubles(mine_at + at), load_doubles(mine_at + row + at)
            add_at(to + at, real * wave[0] - imaginary * wave[1])
            add_at(to + row + at, real * wave[1] + imaginary * wave[0])
