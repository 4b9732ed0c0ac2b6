"""How a panel's own sound acts back on it: the coupling of the variational patch.

    zeta = 2jk cos t times (the double integral of e_e(x) g(x - x') e_s(x')) / (the integral of e_s e_e),
    e = e^{-jkr}/r from the source or the ear, g = e^{-jkd}/(4 pi d)

with R = 1 + beta b0/(1 + beta zeta/cos t) for a patch of admittance beta in a rigid wall (Levine and Schwinger, Phys.
Rev. 74 (1948) 958: what the first iterate puts in their stationary form); an infinite panel has 1, a small one goes
to 0.  It does not know what the panel is made of, as the fraction f does not (`sim.acoustics.patches.patch_share`).

The double integral is a sum over all pairs of cells, by what g gives back of each wave over them (`coupling_kernels`),
at knots of frequency, and what lies between is interpolated.  Where the waves of source and ear cancel over the panel,
so that the quotient says little, it gives way to the mean of conj(e) g e over |e|^2 of both, whose real part is never
below zero.  Above `COUPLED_TO_HZ`, or lower for large panels, zeta fades to 1, and so it does for panels longer than
the path, where the first iterate is no guess worth having: sound that grazes along the panel would count too much.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.propagation.surfaces.kept_views import KeptViews
from sim.propagation.surfaces.patches import PatchViews, faded

COUPLED_TO_HZ: Final = 2900.0
LOWEST_KNOT_HZ: Final = 45.0
KNOTS_AN_OCTAVE: Final = 5
COUPLED_CELLS_A_WAVELENGTH: Final = 4.0
FEWEST_CELLS: Final = 5
MOST_COUPLED_CELLS: Final = 4096
CANCELLED: Final = 0.1
"""Where |integral of e_s e_e| is this part of the integral of |e_s e_e|, both forms count the same."""
LONG: Final = (0.9, 1.5)
"""Longest side over the length of the path at which zeta begins to fade, and is 1."""


def patch_coupling(views: PatchViews, frequencies_hz: FloatArray, speed_m_s: float) -> ComplexArray:
    """Coupling zeta of a panel in each path, complex, shape (m, f)."""
    shortest = float(np.sqrt(views.lengths_m.prod() / MOST_COUPLED_CELLS))
    highest = min(COUPLED_TO_HZ, speed_m_s / (COUPLED_CELLS_A_WAVELENGTH * shortest))
    octaves = max(np.log2(highest / LOWEST_KNOT_HZ), 1.0 / KNOTS_AN_OCTAVE)
    knots = highest * 2.0 ** -np.linspace(octaves, 0.0, int(np.ceil(octaves * KNOTS_AN_OCTAVE)) + 1)
    place = np.interp(np.log(np.maximum(frequencies_hz, 1e-9)), np.log(knots), np.arange(len(knots), dtype=np.float64))
    below = np.minimum(place.astype(np.int64), len(knots) - 2)
    part = place - below
    wanted = np.flatnonzero(frequencies_hz < highest)
    coupling = np.ones((len(views), len(frequencies_hz)), dtype=np.complex128)
    if not wanted.size:
        return coupling
    needed = np.unique(np.concatenate([below[wanted], below[wanted] + 1]))
    values = _at_knots(views, knots, needed, speed_m_s)
    between = values[:, below] * (1.0 - part) + values[:, below + 1] * part
    over = np.clip((views.lengths_m.max() / views.whole_m - LONG[0]) / (LONG[1] - LONG[0]), 0.0, 1.0)
    weight = faded(frequencies_hz / highest) * np.cos(0.5 * np.pi * over)[:, None] ** 2
    return np.asarray(1.0 + (between - 1.0) * weight)


def _at_knots(views: PatchViews, knots: FloatArray, needed: IntArray, speed_m_s: float) -> ComplexArray:
    """Coupling (m, knot) at the knots needed, 1 at the others; paths that were seen before are not worked out again.

    So a panel is named, and its wall heard again after only the desk moved, at no further cost.
    """
    values = np.ones((len(views), len(knots)), dtype=np.complex128)
    keys, missing = views.keys(speed_m_s), []
    for row, key in enumerate(keys):
        known = _couplings.find(key)
        if known is None or np.isnan(known[needed]).any():
            missing.append(row)
        else:
            values[row, needed] = known[needed]
    fresh = np.array(missing, dtype=np.int64)
    if fresh.size:
        some = views.chosen(fresh)
        values[np.ix_(fresh, needed)] = coupling_at(some, 2.0 * np.pi * knots[needed] / speed_m_s)
    for row in missing:
        kept = np.full(len(knots), np.nan, dtype=np.complex128)
        kept[needed] = values[row, needed]
        _couplings.keep(keys[row], kept)
    return values


_couplings: KeptViews[ComplexArray] = KeptViews(4096)


def coupling_at(views: PatchViews, wavenumbers: FloatArray) -> ComplexArray:
    """Coupling (m, k) at wavenumbers (k,) in rad/m."""
    from sim.propagation.surfaces.coupling_kernels import LANES, SUMS, couple

    many = -(-len(views) // LANES)
    ends = np.ones((2, many * LANES, 3))  # what fills up the last eight is anywhere but on the panel
    ends[0, : len(views)], ends[1, : len(views)] = views.source, views.ear
    source, ear = np.ascontiguousarray(ends.reshape(2, many, LANES, 3).transpose(0, 1, 3, 2))
    sums = np.zeros((len(wavenumbers), many, SUMS, LANES))
    lengths = np.array(views.lengths_m)
    for total, wavenumber in zip(sums, wavenumbers.tolist(), strict=True):
        couple(lengths, source, ear, *_waves(float(lengths[0]), float(lengths[1]), wavenumber), wavenumber, total)
    rows = sums.transpose(2, 0, 1, 3).reshape(SUMS, len(wavenumbers), -1)[:, :, : len(views)]
    pairs = rows[0:8:2] + 1j * rows[1:8:2]
    double, own, plain, size, square = pairs[0], pairs[1:3], pairs[3], rows[8], rows[9:]
    certain = (own / square).mean(axis=0)
    trust = (np.abs(plain) / (CANCELLED * size)) ** 2
    ratio = (double * np.conj(plain) / (CANCELLED * size) ** 2 + certain) / (trust + 1.0)
    coupling: ComplexArray = 2j * views.cosine[:, None] * (wavenumbers[:, None] * ratio).T
    return coupling


@lru_cache(maxsize=256)
def _waves(first_m: float, second_m: float, wavenumber: float) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
    """Cells (2,) of a rectangle, cosines and sines over half of them, and what g gives back of each wave.

    The last is the Fourier transform of g over the cells, with room for a convolution that does not wrap around.
    """
    lengths = np.array([first_m, second_m])
    cells = np.ceil(lengths * wavenumber * COUPLED_CELLS_A_WAVELENGTH / (2.0 * np.pi)).astype(np.int64)
    cells = np.maximum(cells, FEWEST_CELLS)
    step, size = lengths / cells, 2 * cells - 1
    away = [np.minimum(np.arange(n), n - np.arange(n)) * each for n, each in zip(size, step, strict=True)]
    distance = np.hypot(away[0][:, None], away[1][None, :])
    distance[0, 0] = 1.0
    green = np.exp(-1j * wavenumber * distance) / (4.0 * np.pi * distance) * step.prod()
    a, b = 0.5 * step
    # the cell itself: 1/d over a rectangle about its middle in closed form, and -jk as it is there
    green[0, 0] = (4.0 * (a * np.arcsinh(b / a) + b * np.arcsinh(a / b)) - 1j * wavenumber * step.prod()) / (4 * np.pi)
    numbers = [np.arange(count) for count in cells]
    often = np.where(numbers[0] > 0, 2.0, 1.0)[:, None] * np.where(numbers[1] > 0, 2.0, 1.0) / size.prod()
    back = np.fft.fft2(green)[: cells[0], : cells[1]] * often
    tables = []
    for count, whole, number in zip(cells.tolist(), size.tolist(), numbers, strict=True):
        angle = 2.0 * np.pi * number[:, None] * (np.arange((count + 1) // 2) + 0.5 * (1 - count % 2)) / whole
        tables.append(frozen(np.stack([np.cos(angle), np.sin(angle)])))
    return frozen(cells), tables[0], tables[1], frozen(np.stack([back.real, back.imag]))
