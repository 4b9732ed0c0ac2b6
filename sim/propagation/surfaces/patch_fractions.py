"""How much of mirrored paths a panel covers, for spherical waves: the Kirchhoff integral over the panel itself.

    f = (jk cos t/2 pi) L e^{jkL} times the integral of e^{-jk (r_s + r_e)}/(r_s r_e) over the panel

with r_s and r_e to both ends of the path, all other mirrors unfolded; an infinite panel has 1.  Up to `EXACT_TO_HZ` the
integral is a sum over cells, all cells of one delay together; above, where cells would be too many, the Fresnel
integral of `panel_fractions`, each corner moved out along its ray from the reflection point until its delay is the true
one.  The one fades into the other over half an octave, for large panels lower.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.arrays import ComplexArray, FloatArray
from sim.propagation.surfaces.panel_fractions import LOWEST_HZ, fractions_of_polygons
from sim.propagation.surfaces.patch_views import PatchViews

EXACT_TO_HZ: Final = 5600.0
CELLS_A_WAVELENGTH: Final = 7.0
MOST_CELLS: Final = 40_000
FADE: Final = np.sqrt(0.5)
"""The sum fades out from this fraction of the highest frequency on."""


def patch_fractions(views: PatchViews, frequencies_hz: FloatArray, speed_m_s: float) -> ComplexArray:
    """Fraction f of a panel in each path, complex, shape (m, f), whatever it is made of."""
    wavenumber = 2.0 * np.pi * np.maximum(frequencies_hz, LOWEST_HZ) / speed_m_s
    lengths = np.linalg.norm(views.sides, axis=1)
    cell_m = max(speed_m_s / EXACT_TO_HZ / CELLS_A_WAVELENGTH, float(np.sqrt(lengths.prod() / MOST_CELLS)))
    highest = 2.0 * np.pi / (CELLS_A_WAVELENGTH * cell_m)
    low = np.flatnonzero(wavenumber < highest)
    high = np.flatnonzero(wavenumber > FADE * highest)
    total = np.zeros((len(views), len(wavenumber)), dtype=np.complex128)
    weight = faded(wavenumber / highest)
    if high.size:
        total[:, high] = fractions_of_polygons(views.about, views.stretch, wavenumber[high]) * (1.0 - weight[high])
    if low.size:
        total[:, low] += _summed(views, wavenumber[low], cell_m) * weight[low]
    return total


def faded(part: FloatArray) -> FloatArray:
    """1 below `FADE`, 0 above 1, smooth between in the logarithm."""
    way = np.clip(np.log(np.maximum(part, 1e-9) / FADE) / -np.log(FADE), 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * way) ** 2)


def _summed(views: PatchViews, wavenumber: FloatArray, cell_m: float) -> ComplexArray:
    from sim.propagation.surfaces.patch_kernels import add_patch_sums

    sums = np.zeros((len(views), len(wavenumber)), dtype=np.complex128)
    cells = np.maximum(np.ceil(np.linalg.norm(views.sides, axis=1) / cell_m), 2.0).astype(np.int64)
    fresh = (np.ascontiguousarray(each).copy() for each in (views.sides, views.source, views.ear, views.whole_m))
    add_patch_sums(*fresh, cells, cell_m, wavenumber.copy(), sums)
    return np.asarray(0.5j / np.pi * (views.cosine * views.whole_m)[:, None] * wavenumber * sums)
