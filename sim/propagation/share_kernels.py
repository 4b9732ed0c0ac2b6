"""Smooth parts known at a few knots, turned at every frequency: arrays in, arrays out."""

from __future__ import annotations

import math

from ..geometry.kinds_of_kernels import kernel

RESTART = 64
"""On an even grid each turn is the one before times a constant; anew after so many, so that rounding does not grow."""


@kernel
def add_turned(total, smooth, delay, wavenumber, below, part, even):  # type: ignore[no-untyped-def]
    """Add smooth(k) e^{-j delay k} of every corner to total (m, f).

    smooth (m, n, knot) complex, interpolated between knots `below` (f,) and the next by `part` (f,); delay (m, n) in
    metres; wavenumber (f,) in rad/m, `even` if its steps are all the same from the second on.
    """
    rows, corners, _ = smooth.shape
    count = wavenumber.shape[0]
    step = wavenumber[2] - wavenumber[1] if count > 2 else 0.0
    for row in range(rows):
        for corner in range(corners):
            values = smooth[row, corner]
            silent = True
            for knot in range(values.shape[0]):
                if values[knot] != 0.0:
                    silent = False
                    break
            if silent:
                continue
            far = delay[row, corner]
            turn = complex(math.cos(far * step), -math.sin(far * step))
            now = complex(1.0, 0.0)
            for f in range(count):
                if even and f % RESTART > 1:
                    now = now * turn
                else:
                    now = complex(math.cos(far * wavenumber[f]), -math.sin(far * wavenumber[f]))
                low = below[f]
                value = values[low] if part[f] == 0.0 else values[low] * (1.0 - part[f]) + values[low + 1] * part[f]
                total[row, f] += value * now
