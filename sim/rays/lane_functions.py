"""Exponential, logarithm and waves of eight doubles at once, for kernels whose time goes into them."""

from __future__ import annotations

from sim.rays.kinds_of_kernels import inlined
from sim.rays.lanes import bits_added, multiply_add, spread_double, twos_in

PER_TWO = 1.4426950408889634
LOG_TWO_HIGH, LOG_TWO_LOW = 0.693147180369123816490, 1.90821492927058770002e-10
"""Logarithm of 2 in two parts; the first ends in zeros, so that its products with whole numbers are exact."""
TO_WHOLE = 6755399441055744.0
"""1.5 * 2^52: what is added to it is rounded to a whole number, which stands in the last bits of the sum."""
PER_TURN = 0.15915494309189535
TURN_HIGH, TURN_LOW = 6.28318530693650245667, 2.43084020260250608e-10
"""2 pi in two parts; the first has 33 bits, so that its products with up to a million turns are exact."""


@inlined
def exponentials(x):  # type: ignore[no-untyped-def]
    """e^x lane by lane, within 2e-16 of itself, for x from -700 to 700.

    x is a whole number of log 2 and a rest of at most half of that, whose series is taken to the 13th power.
    """
    whole = multiply_add(x, spread_double(PER_TWO), spread_double(TO_WHOLE))
    twos = whole - spread_double(TO_WHOLE)
    rest = multiply_add(twos, spread_double(-LOG_TWO_HIGH), x)
    rest = multiply_add(twos, spread_double(-LOG_TWO_LOW), rest)
    s = multiply_add(rest, spread_double(1.0 / 6227020800.0), spread_double(1.0 / 479001600.0))
    s = multiply_add(rest, s, spread_double(1.0 / 39916800.0))
    s = multiply_add(rest, s, spread_double(1.0 / 3628800.0))
    s = multiply_add(rest, s, spread_double(1.0 / 362880.0))
    s = multiply_add(rest, s, spread_double(1.0 / 40320.0))
    s = multiply_add(rest, s, spread_double(1.0 / 5040.0))
    s = multiply_add(rest, s, spread_double(1.0 / 720.0))
    s = multiply_add(rest, s, spread_double(1.0 / 120.0))
    s = multiply_add(rest, s, spread_double(1.0 / 24.0))
    s = multiply_add(rest, s, spread_double(1.0 / 6.0))
    s = multiply_add(rest, s, spread_double(0.5))
    s = multiply_add(rest, s, spread_double(1.0))
    s = multiply_add(rest, s, spread_double(1.0))
    return bits_added(s, whole, 52)


@inlined
def logarithms(x):  # type: ignore[no-untyped-def]
    """Natural logarithm lane by lane of normal numbers above 0, within 4e-16 of itself or 1e-16.

    x is a power of 2 times m, and log m = 2 artanh((m - 1)/(m + 1)), whose series is taken to the 19th power.
    """
    twos = twos_in(x)
    # as many times 2 less: the last bits of 1.5 * 2^52 less that number, moved to the exponent
    m = bits_added(x, spread_double(TO_WHOLE) - twos, 52)
    one = spread_double(1.0)
    t = (m - one) / (m + one)
    square = t * t
    s = multiply_add(square, spread_double(2.0 / 19.0), spread_double(2.0 / 17.0))
    s = multiply_add(square, s, spread_double(2.0 / 15.0))
    s = multiply_add(square, s, spread_double(2.0 / 13.0))
    s = multiply_add(square, s, spread_double(2.0 / 11.0))
    s = multiply_add(square, s, spread_double(2.0 / 9.0))
    s = multiply_add(square, s, spread_double(2.0 / 7.0))
    s = multiply_add(square, s, spread_double(2.0 / 5.0))
    s = multiply_add(square, s, spread_double(2.0 / 3.0))
    small = multiply_add(square * t, s, twos * spread_double(LOG_TWO_LOW))
    return multiply_add(twos, spread_double(LOG_TWO_HIGH), multiply_add(t, spread_double(2.0), small))


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
