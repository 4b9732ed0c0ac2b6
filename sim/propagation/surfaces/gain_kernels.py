"""The complex gain of many paths at many frequencies, put together from what each step gives: arrays in, arrays out."""

from __future__ import annotations

import numpy as np

from sim.rays.kinds_of_kernels import flowing, inlined, kernel

TO_WHOLE = 6755399441055744.0
"""1.5 * 2^52: what is added to it and taken off again is rounded to a whole number."""
PER_TURN = 0.15915494309189535
TURN_HIGH, TURN_MIDDLE, TURN_LOW = 6.283185005187988, 3.0199159795074593e-07, 2.4492935982947064e-16
"""2 pi in parts; the products of the first two with up to a million turns are exact."""


@inlined
def wave(phase):  # type: ignore[no-untyped-def]
    """Real and imaginary part of e^{-j phase}, right within 1e-14 for phases up to a hundred thousand.

    As `lane_functions.wave_of`: the phase less whole turns is cut in four, and the angle doubled twice.
    """
    turns = (phase * PER_TURN + TO_WHOLE) - TO_WHOLE
    a = 0.25 * (((phase - turns * TURN_HIGH) - turns * TURN_MIDDLE) - turns * TURN_LOW)
    b = a * a
    s = 1.0 / 6227020800.0 - b / 1307674368000.0
    s = b * (b * s - 1.0 / 39916800.0) + 1.0 / 362880.0
    s = b * (b * s - 1.0 / 5040.0) + 1.0 / 120.0
    s = a + a * b * (b * s - 1.0 / 6.0)
    c = b / 20922789888000.0 - 1.0 / 87178291200.0
    c = b * (b * c + 1.0 / 479001600.0) - 1.0 / 3628800.0
    c = b * (b * c + 1.0 / 40320.0) - 1.0 / 720.0
    c = 1.0 + b * (b * (b * c + 1.0 / 24.0) - 0.5)
    s, c = 2.0 * s * c, 1.0 - 2.0 * s * s
    return 1.0 - 2.0 * s * s, -2.0 * s * c


@flowing
def turned(wavenumber, length):  # type: ignore[no-untyped-def]
    """Phase e^{-jkL} (p, f) of ways (p,) in m at wavenumbers (f,) in rad/m."""
    found = np.empty((length.shape[0], wavenumber.shape[0]), np.complex128)
    for p in range(length.shape[0]):
        for f in range(wavenumber.shape[0]):
            real, imaginary = wave(wavenumber[f] * length[p])
            found[p, f] = complex(real, imaginary)
    return found


@kernel
def product_along(facets, row, factors, count):  # type: ignore[no-untyped-def]
    """Product (p, count) complex of real factors (row, f) of the facets (p, K) along each path.

    row (facet,) is each facet's row among the factors, -1 where it takes none; negative facets are none.
    """
    product = np.ones((facets.shape[0], count), np.complex128)
    for p in range(facets.shape[0]):
        for turn in range(facets.shape[1]):
            facet = facets[p, turn]
            if facet < 0 or row[facet] < 0:
                continue
            mine = factors[row[facet]]
            for f in range(count):
                product[p, f] *= mine[f]
    return product


@flowing
def finish(gains, rows, radiated, fading, length, wavenumber, delayed):  # type: ignore[no-untyped-def]
    """Multiply rows (n,) of gains (p, f) by what is radiated (n, f), by fading (p, f) and, if delayed, by e^{-jkL}."""
    for n in range(rows.shape[0]):
        p = rows[n]
        far = length[p]
        for f in range(wavenumber.shape[0]):
            gains[p, f] *= radiated[n, f] * fading[p, f]
        if delayed:
            for f in range(wavenumber.shape[0]):
                real, imaginary = wave(wavenumber[f] * far)
                gains[p, f] *= complex(real, imaginary)
