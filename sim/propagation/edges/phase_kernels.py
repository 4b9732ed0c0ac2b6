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
PER_TURN = 0.15915494309189535
TURN_HIGH, TURN_LOW = 6.28318530693650245667, 2.43084020260250608e-10
"""2 pi in two parts; the first has 33 bits, so that its products with up to a million turns are exact."""
EVEN = 1.0e-9
"""Steps of the wavenumber, in rad/m, that differ by no more than this are one."""
TO_WHOLE = 6755399441055744.0
"""1.5 * 2^52: what is added to it and taken off again is rounded to a whole number."""


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


@inlined
def wave_of(phase):  # type: ignore[no-untyped-def]
    """Return (real, imaginary) part of e^{-j phase}, lane by lane, right within 2e-15 for phases up to 1e6.

    The phase less whole turns is cut in four, the series of sine and cosine are taken to powers 15 and 16 (up to pi/4),
    and the angle is doubled twice.
    """
    whole, one = spread_double(TO_WHOLE), spread_double(1.0)
    turns = (phase * spread_double(PER_TURN) + whole) - whole
    rest = multiply_add(turns, spread_double(-TURN_LOW), multiply_add(turns, spread_double(-TURN_HIGH), phase))
    a = rest * spread_double(0.25)
    square = a * a
    s = multiply_add(square, spread_double(-1.0 / 1307674368000.0), spread_double(1.0 / 6227020800.0))
    s = multiply_add(square, s, spread_double(-1.0 / 39916800.0))
    s = multiply_add(square, s, spread_double(1.0 / 362880.0))
    s = multiply_add(square, s, spread_double(-1.0 / 5040.0))
    s = multiply_add(square, s, spread_double(1.0 / 120.0))
    s = multiply_add(square, s, spread_double(-1.0 / 6.0))
    s = multiply_add(square * a, s, a)
    c = multiply_add(square, spread_double(1.0 / 20922789888000.0), spread_double(-1.0 / 87178291200.0))
    c = multiply_add(square, c, spread_double(1.0 / 479001600.0))
    c = multiply_add(square, c, spread_double(-1.0 / 3628800.0))
    c = multiply_add(square, c, spread_double(1.0 / 40320.0))
    c = multiply_add(square, c, spread_double(-1.0 / 720.0))
    c = multiply_add(square, c, spread_double(1.0 / 24.0))
    c = multiply_add(square, c, spread_double(-0.5))
    c = multiply_add(square, c, one)
    for _ in range(2):
        s, c = (s + s) * c, one - (s + s) * s
    return c, spread_double(0.0) - s


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
