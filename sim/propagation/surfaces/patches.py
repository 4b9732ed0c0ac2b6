"""A panel seen from both ends of paths: how much of them it covers, and how its own sound acts back on it."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray
from sim.propagation.surfaces.incidence import Incidences
from sim.propagation.surfaces.panel_fractions import LOWEST_HZ, fractions_of_polygons


@dataclass(frozen=True, slots=True)
class PatchViews:
    """One panel and m paths that meet its plane.

    Attributes
    ----------
    sides
        (2, 3) in m, from the first corner to its neighbours.
    source, ear
        (m, 3) in m from the first corner: the ends of each path, all other mirrors unfolded, on the same side.
    whole_m
        (m,) length of each mirrored path.
    cosine
        (m,) of its angle of incidence.
    stretch
        (m,) 1/2 (1/before + 1/after) per metre.
    about
        (m, 4, 2) corners about the reflection point, along and across the plane of incidence, along shortened by the
        cosine and both scaled, so that `stretch` times their square is how much longer the path over them is.
    """

    sides: FloatArray
    source: FloatArray
    ear: FloatArray
    whole_m: FloatArray
    cosine: FloatArray
    stretch: FloatArray
    about: FloatArray

    def __len__(self) -> int:
        return len(self.cosine)

    def chosen(self, rows: IntArray | BoolArray | slice) -> PatchViews:
        """Some of the paths."""
        rest = (getattr(self, name)[rows] for name in PatchViews.__slots__[1:])
        return PatchViews(self.sides, *rest)


def patch_views(corners_m: FloatArray, normal: FloatArray, incidences: Incidences) -> PatchViews:
    """Views of a panel with corners (4, 3) in order, in a plane with a normal (3,), by incidences with that plane."""
    out = normal * -np.sign(np.where(incidences.arriving @ normal == 0.0, -1.0, incidences.arriving @ normal))[:, None]
    level = incidences.arriving - np.einsum("mi,mi->m", incidences.arriving, out)[:, None] * out
    length = np.linalg.norm(level, axis=1, keepdims=True)
    sine = np.sqrt(np.maximum(1.0 - incidences.cosine**2, 0.0))[:, None]
    spare = np.eye(3)[int(np.argmin(np.abs(normal)))]
    spare = spare - (spare @ normal) * normal
    along = np.where(length > 1e-9, level / np.maximum(length, 1e-9), spare / np.linalg.norm(spare))
    up = incidences.cosine[:, None] * out
    source = incidences.point + incidences.before_m[:, None] * (up - sine * along)
    ear = incidences.point + incidences.after_m[:, None] * (up + sine * along)
    whole = incidences.before_m + incidences.after_m
    stretch = 0.5 * (1.0 / incidences.before_m + 1.0 / incidences.after_m)
    relative = corners_m[None] - incidences.point[:, None]
    flat = np.stack(
        [
            np.einsum("mni,mi->mn", relative, along) * incidences.cosine[:, None],
            np.einsum("mni,mi->mn", relative, np.cross(normal, along)),
        ],
        axis=-1,
    )
    longer = sum(np.linalg.norm(corners_m[None] - end[:, None], axis=2) for end in (source, ear)) - whole[:, None]
    square = stretch[:, None] * (flat**2).sum(axis=2)
    scale = np.sqrt(np.maximum(longer, 0.0) / np.maximum(square, 1e-12))
    about = flat * np.where(square > 1e-9, scale, 1.0)[..., None]
    origin = corners_m[0]
    sides = np.stack([corners_m[1] - origin, corners_m[3] - origin])
    return PatchViews(sides, source - origin, ear - origin, whole, incidences.cosine, stretch, about)


# How much of mirrored paths a panel covers, for spherical waves: the Kirchhoff integral over the panel itself.
#
#     f = (jk cos t/2 pi) L e^{jkL} times the integral of e^{-jk (r_s + r_e)}/(r_s r_e) over the panel
#
# with r_s and r_e to both ends of the path, all other mirrors unfolded; an infinite panel has 1.  Up to `EXACT_TO_HZ`
# the integral is a sum over cells, all cells of one delay together; above, where cells would be too many, the Fresnel
# integral of `panel_fractions`, each corner moved out along its ray from the reflection point until its delay is the
# true one.  The one fades into the other over half an octave, for large panels lower.

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
    from sim.propagation.surfaces.kernels import add_patch_sums

    sums = np.zeros((len(views), len(wavenumber)), dtype=np.complex128)
    cells = np.maximum(np.ceil(np.linalg.norm(views.sides, axis=1) / cell_m), 2.0).astype(np.int64)
    fresh = (np.ascontiguousarray(each).copy() for each in (views.sides, views.source, views.ear, views.whole_m))
    add_patch_sums(*fresh, cells, cell_m, wavenumber.copy(), sums)
    return np.asarray(0.5j / np.pi * (views.cosine * views.whole_m)[:, None] * wavenumber * sums)


# How a panel's own sound acts back on it: the coupling of the variational patch.
#
#     zeta = 2jk cos t times (the double integral of e_e(x) g(x - x') e_s(x')) / (the integral of e_s e_e),
#     e = e^{-jkr}/r from the source or the ear, g = e^{-jkd}/(4 pi d)
#
# with R = 1 + beta b0/(1 + beta zeta/cos t) for a patch of admittance beta in a rigid wall (Levine and Schwinger, Phys.
# Rev. 74 (1948) 958: what the first iterate puts in their stationary form); an infinite panel has 1, a small one goes
# to 0.  It does not know what the panel is made of, as the fraction f does not (`sim.acoustics.patches.patch_share`).
#
# The double integral is one product of Fourier transforms over cells, at knots of frequency, and what lies between is
# interpolated.  Where the waves of source and ear cancel over the panel, so that the quotient says little, it gives way
# to the mean of conj(e) g e over |e|^2 of both, whose real part is never below zero.  Above `COUPLED_TO_HZ`, or lower
# for large panels, zeta fades to 1, and so it does for panels longer than the path, where the first iterate is no guess
# worth having: sound that grazes along the panel would count too much.

COUPLED_TO_HZ: Final = 2900.0
LOWEST_KNOT_HZ: Final = 45.0
KNOTS_AN_OCTAVE: Final = 5
COUPLED_CELLS_A_WAVELENGTH: Final = 4.0
FEWEST_CELLS: Final = 5
MOST_COUPLED_CELLS: Final = 4096
CANCELLED: Final = 0.1
"""Where |integral of e_s e_e| is this part of the integral of |e_s e_e|, both forms count the same."""
ROWS_AT_ONCE: Final = 64
LONG: Final = (0.9, 1.5)
"""Longest side over the length of the path at which zeta begins to fade, and is 1."""


def patch_coupling(views: PatchViews, frequencies_hz: FloatArray, speed_m_s: float) -> ComplexArray:
    """Coupling zeta of a panel in each path, complex, shape (m, f)."""
    lengths = np.linalg.norm(views.sides, axis=1)
    shortest = float(np.sqrt(lengths.prod() / MOST_COUPLED_CELLS))
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
    over = np.clip((lengths.max() / views.whole_m - LONG[0]) / (LONG[1] - LONG[0]), 0.0, 1.0)
    weight = faded(frequencies_hz / highest) * np.cos(0.5 * np.pi * over)[:, None] ** 2
    return np.asarray(1.0 + (between - 1.0) * weight)


def _at_knots(views: PatchViews, knots: FloatArray, needed: IntArray, speed_m_s: float) -> ComplexArray:
    """Coupling (m, knot) at the knots needed, 1 at the others; paths that were seen before are not worked out again.

    So a panel is named, and its wall heard again after only the desk moved, at no further cost.
    """
    values = np.ones((len(views), len(knots)), dtype=np.complex128)
    common = views.sides.tobytes() + np.array([speed_m_s, float(len(knots))]).tobytes()
    rows = np.column_stack([views.source, views.ear, views.whole_m, views.cosine])
    keys = [common + row.tobytes() for row in rows]
    fresh = []
    for row, key in enumerate(keys):
        known = _couplings.get(key)
        if known is None or np.isnan(known[needed]).any():
            fresh.append(row)
        else:
            values[row, needed] = known[needed]
    some = np.array(fresh, dtype=np.int64)
    for number in needed if fresh else ():
        for start in range(0, len(some), ROWS_AT_ONCE):
            mine = some[start : start + ROWS_AT_ONCE]
            values[mine, number] = coupling_at(views.chosen(mine), 2.0 * np.pi * knots[number] / speed_m_s)
    for row in fresh:
        kept = np.full(len(knots), np.nan, dtype=np.complex128)
        kept[needed] = values[row, needed]
        _couplings[keys[row]] = kept
    while len(_couplings) > MOST_KEPT:
        with suppress(KeyError, StopIteration, RuntimeError):  # another thread may do the same
            del _couplings[next(iter(_couplings))]
    return values


MOST_KEPT: Final = 4096
_couplings: dict[bytes, ComplexArray] = {}


def coupling_at(views: PatchViews, wavenumber: float) -> ComplexArray:
    """Coupling (m,) at one wavenumber in rad/m."""
    from scipy.fft import fft2

    from sim.propagation.surfaces.kernels import fill_waves

    lengths = np.linalg.norm(views.sides, axis=1)
    cells = np.ceil(lengths * wavenumber * COUPLED_CELLS_A_WAVELENGTH / (2.0 * np.pi)).astype(np.int64)
    cells = np.maximum(cells, FEWEST_CELLS)
    spectrum = _green_spectrum(float(lengths[0]), float(lengths[1]), int(cells[0]), int(cells[1]), wavenumber)
    waves = np.zeros((2, len(views), *spectrum.shape), dtype=np.complex128)
    for wave, ends in zip(waves, (views.source, views.ear), strict=True):
        fill_waves(views.sides.copy(), np.ascontiguousarray(ends).copy(), cells, wavenumber, wave)
    source, ear = waves[:, :, : cells[0], : cells[1]]
    product = source * ear
    plain, size = product.sum(axis=(1, 2)), np.abs(product).sum(axis=(1, 2))
    # sum over x of u(x) (G * v)(x) = sum over q of u^(-q) G^(q) v^(q) / cells of the whole grid
    turned = fft2(waves, axes=(2, 3))
    both = turned[0] * np.roll(turned[1, :, ::-1, ::-1], 1, axis=(1, 2))
    count = spectrum.size
    double = np.einsum("mij,ij->m", both, spectrum) / count
    own = np.einsum("kmij,ij->km", np.abs(turned) ** 2, spectrum) / count
    certain = (own / (np.abs(waves) ** 2).sum(axis=(2, 3))).mean(axis=0)
    trust = (np.abs(plain) / (CANCELLED * size)) ** 2
    ratio = (double * np.conj(plain) / (CANCELLED * size) ** 2 + certain) / (trust + 1.0)
    coupling: ComplexArray = 2j * wavenumber * views.cosine * ratio
    return coupling


@lru_cache(maxsize=256)
def _green_spectrum(first_m: float, second_m: float, first: int, second: int, wavenumber: float) -> ComplexArray:
    """Fourier transform of g over cells of a rectangle, with room for a convolution that does not wrap around."""
    from scipy.fft import fft2, next_fast_len

    step = np.array([first_m / first, second_m / second])
    size = (next_fast_len(2 * first - 1), next_fast_len(2 * second - 1))
    away = [np.minimum(np.arange(n), n - np.arange(n)) * each for n, each in zip(size, step, strict=True)]
    distance = np.hypot(away[0][:, None], away[1][None, :])
    distance[0, 0] = 1.0
    green = np.exp(-1j * wavenumber * distance) / (4.0 * np.pi * distance) * step.prod()
    a, b = 0.5 * step
    # the cell itself: 1/d over a rectangle about its middle in closed form, and -jk as it is there
    green[0, 0] = (4.0 * (a * np.arcsinh(b / a) + b * np.arcsinh(a / b)) - 1j * wavenumber * step.prod()) / (4 * np.pi)
    spectrum = fft2(green)
    spectrum.setflags(write=False)
    return np.asarray(spectrum)
