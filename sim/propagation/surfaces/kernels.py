"""Fractions of panels and spread of surface maps: arrays in, arrays out."""

from __future__ import annotations

import math

from sim.rays.kinds_of_kernels import kernel

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


# Surface maps: each reflection point spreads its energy over the first Fresnel zone around it.


@kernel
def spread(points, along, cosine, reach, energy, wavelength, origin, grid, across_cells, inside, total):  # type: ignore[no-untyped-def]
    """Add samples to a grid: total (band, g).

    points (m, 2) reflection points in the plane; along (m, 2) unit direction of the plane of incidence; cosine (m,) of
    the angle of incidence; reach (m,) = d1 d2/(d1 + d2); energy (m, band); wavelength (band,).  Grid cell (i, j) has
    its middle at origin + (i, j) grid and number i * across_cells + j; inside (i, j) is its place in `total`,
    or -1 outside the facet.

    Weight (1 - rho^2)^2 with rho = 1 on the border of the first Fresnel zone: 1 at the mirror point, flat there, and
    meeting zero without a step.  The zone is longer along the plane of incidence by 1/cosine.
    """
    rows = inside.shape[0]
    for m in range(points.shape[0]):
        for b in range(wavelength.shape[0]):
            e = energy[m, b]
            if e <= 0.0:
                continue
            square = wavelength[b] * reach[m]
            radius = math.sqrt(square) / cosine[m]
            i0 = max(0, int(math.ceil((points[m, 0] - radius - origin[0]) / grid)))
            i1 = min(rows - 1, int(math.floor((points[m, 0] + radius - origin[0]) / grid)))
            j0 = max(0, int(math.ceil((points[m, 1] - radius - origin[1]) / grid)))
            j1 = min(across_cells - 1, int(math.floor((points[m, 1] + radius - origin[1]) / grid)))
            for i in range(i0, i1 + 1):
                x = origin[0] + i * grid - points[m, 0]
                for j in range(j0, j1 + 1):
                    g = inside[i, j]
                    if g < 0:
                        continue
                    y = origin[1] + j * grid - points[m, 1]
                    u = (x * along[m, 0] + y * along[m, 1]) * cosine[m]
                    v = y * along[m, 0] - x * along[m, 1]
                    rho = (u * u + v * v) / square
                    if rho < 1.0:
                        total[b, g] += e * (1.0 - rho) * (1.0 - rho)
