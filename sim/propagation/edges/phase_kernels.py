"""Eight frequencies of a wave at once: phases turned into waves, summed with what the source radiates.

Sums over many short ways at hundreds of frequencies spend their time on sines and cosines.  Here they are worked out
eight at a time, and frequencies are laid out side by side for it: real and imaginary parts apart, filled up with zeros
to whole rows of eight.
"""

from __future__ import annotations

import numpy as np

from sim.rays.kinds_of_kernels import inlined, kernel, part
from sim.rays.lanes import load_doubles, multiply_add, spread_double

LANES, ROW_BYTES = 8, 64
EVEN = 1.0e-9
"""Steps of the wavenumber, in rad/m, that differ by no more than this are one."""


@kernel
def rows_of_eight(count):  # type: ignore[no-untyped-def]
    """Least multiple of eight that holds `count` numbers."""
    return (count + LANES - 1) // LANES * LANES


@part
def lay_out(values, parts):  # type: ignore[no-untyped-def]
    """Fill parts (n, 2, rows of eight or more), zeros so far, with real and imaginary parts of complex (n, f)."""
    n, f = values.shape
    for i in range(n):
        for j in range(f):
            parts[i, 0, j], parts[i, 1, j] = values[i, j].real, values[i, j].imag


@kernel
def laid_out(values):  # type: ignore[no-untyped-def]
    """Complex (n, f) as real and imaginary parts (n, 2, rows of eight)."""
    n, f = values.shape
    parts = np.zeros((n, 2, rows_of_eight(f)))
    lay_out(values, parts)
    return parts


@kernel
def filled_up(values):  # type: ignore[no-untyped-def]
    """Numbers (f,) with zeros up to a whole row of eight."""
    longer = np.zeros(rows_of_eight(values.shape[0]))
    for i in range(values.shape[0]):
        longer[i] = values[i]
    return longer


@kernel
def find_steps(wavenumbers, follows):  # type: ignore[no-untyped-def]
    """Fill follows (rows of eight,): 1 where a row is the row before it plus one step for all; return that step.

    The wave of such a row is that of the row before times that of the step: four operations in place of forty.
    """
    step = 0.0
    for row in range(follows.shape[0]):
        follows[row] = 0
        if row == 0:
            continue
        first = wavenumbers[LANES * row] - wavenumbers[LANES * (row - 1)]
        alike = True
        for i in range(LANES * row + 1, LANES * (row + 1)):
            alike = alike and abs(wavenumbers[i] - wavenumbers[i - LANES] - first) < EVEN
        if alike and (step == 0.0 or abs(first - step) < EVEN):
            step, follows[row] = first, 1
    return step


@inlined
def sample_at(place, length, count, row):  # type: ignore[no-untyped-def]
    """Bytes from the first of `count` samples, evenly along a length, to that before a place, and share of the next.

    row: bytes of one part of one sample.
    """
    x = min(max(place / length, 0.0), 1.0) * (count - 1)
    i = min(int(x), count - 2)
    return 2 * row * i, x - i


@inlined
def driven(wave, sample, row, fraction):  # type: ignore[no-untyped-def]
    """A wave (real, imaginary) times what the source radiates, linear between a sample and the next, by address."""
    real, imaginary = wave
    part, more = spread_double(fraction), load_doubles(sample)
    drive_real = multiply_add(part, load_doubles(sample + 2 * row) - more, more)
    more = load_doubles(sample + row)
    drive_imaginary = multiply_add(part, load_doubles(sample + 3 * row) - more, more)
    return real * drive_real - imaginary * drive_imaginary, real * drive_imaginary + imaginary * drive_real
