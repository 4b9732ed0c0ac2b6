"""A panel seen from both ends of paths, and how much of them it covers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray
from sim.propagation.surfaces.incidence import Incidences
from sim.propagation.surfaces.kept_views import KeptViews, keys_of_rows
from sim.propagation.surfaces.panel_fractions import LOWEST_HZ, fractions_of_polygons


@dataclass(frozen=True, slots=True)
class PatchViews:
    """Rectangles of one size, each in a path of m that meet its plane.

    Attributes
    ----------
    lengths_m
        (2,) of the sides.
    source, ear
        (m, 3) in m from the middle, along the first side, along the second and out of the plane: the ends of each
        path, all other mirrors unfolded, on the same side.
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

    lengths_m: FloatArray
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
        return PatchViews(self.lengths_m, *rest)

    def keys(self, speed_m_s: float) -> list[bytes]:
        """What tells each view from all others, at a speed of sound."""
        common = np.array([*self.lengths_m, speed_m_s])
        return keys_of_rows(common, np.column_stack([self.source, self.ear, self.whole_m, self.cosine]))


def patch_views(corners_m: FloatArray, normal: FloatArray, incidences: Incidences) -> PatchViews:
    """Views of rectangles of one size by m incidences with their planes.

    corners_m (4, 3) in order and normal (3,) of one for all, or (m, 4, 3) and (m, 3) of one for each.
    """
    corners, normals = np.broadcast_to(corners_m, (len(incidences), 4, 3)), np.atleast_2d(normal)
    down = (incidences.arriving * normals).sum(axis=1)
    out = normals * np.where(down > 0.0, -1.0, 1.0)[:, None]
    level = incidences.arriving - (incidences.arriving * out).sum(axis=1)[:, None] * out
    length = _norms(level)[:, None]
    sine = np.sqrt(np.maximum(1.0 - incidences.cosine**2, 0.0))[:, None]
    along = level / np.maximum(length, 1e-9)
    straight = np.flatnonzero(length[:, 0] <= 1e-9)
    if straight.size:
        upright = np.broadcast_to(normals, along.shape)[straight]
        spare = np.eye(3)[np.argmin(np.abs(upright), axis=1)]
        spare = spare - (spare * upright).sum(axis=1)[:, None] * upright
        along[straight] = spare / _norms(spare)[:, None]
    up = incidences.cosine[:, None] * out
    whole = incidences.before_m + incidences.after_m
    stretch = 0.5 * (1.0 / incidences.before_m + 1.0 / incidences.after_m)
    relative = corners - incidences.point[:, None]
    across = np.cross(normals, along)
    flat = np.stack(
        [
            (relative * along[:, None]).sum(axis=2) * incidences.cosine[:, None],
            (relative * across[:, None]).sum(axis=2),
        ],
        axis=-1,
    )
    source = incidences.before_m[:, None] * (up - sine * along)  # from the reflection point
    ear = incidences.after_m[:, None] * (up + sine * along)
    longer = sum(_norms(relative - end[:, None]) for end in (source, ear)) - whole[:, None]
    square = stretch[:, None] * (flat**2).sum(axis=2)
    scale = np.sqrt(np.maximum(longer, 0.0) / np.maximum(square, 1e-12))
    about = flat * np.where(square > 1e-9, scale, 1.0)[..., None]
    sides = np.stack([corners[:, 1] - corners[:, 0], corners[:, 3] - corners[:, 0]], axis=1)
    lengths = _norms(sides)
    axes = np.concatenate([sides / lengths[..., None], out[:, None]], axis=1)
    middle = 0.5 * (relative[:, 1] + relative[:, 3])
    source, ear = (np.einsum("mai,mi->ma", axes, end - middle) for end in (source, ear))
    return PatchViews(lengths[0], source, ear, whole, incidences.cosine, stretch, about)


def _norms(vectors: FloatArray) -> FloatArray:
    """Lengths (...) of vectors (..., 3)."""
    return np.asarray(np.sqrt((vectors * vectors).sum(axis=-1)))


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
    cell_m = max(speed_m_s / EXACT_TO_HZ / CELLS_A_WAVELENGTH, float(np.sqrt(views.lengths_m.prod() / MOST_CELLS)))
    highest = 2.0 * np.pi / (CELLS_A_WAVELENGTH * cell_m)
    low = np.flatnonzero(wavenumber < highest)
    high = np.flatnonzero(wavenumber > FADE * highest)
    total = np.zeros((len(views), len(wavenumber)), dtype=np.complex128)
    weight = faded(wavenumber / highest)
    if high.size:
        total[:, high] = fractions_of_polygons(views.about, views.stretch, wavenumber[high]) * (1.0 - weight[high])
    if low.size:
        total[:, low] += _summed(views, wavenumber[low], cell_m, speed_m_s) * weight[low]
    return total


def faded(part: FloatArray) -> FloatArray:
    """1 below `FADE`, 0 above 1, smooth between in the logarithm."""
    way = np.clip(np.log(np.maximum(part, 1e-9) / FADE) / -np.log(FADE), 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * way) ** 2)


def _summed(views: PatchViews, wavenumber: FloatArray, cell_m: float, speed_m_s: float) -> ComplexArray:
    from sim.propagation.surfaces.patch_kernels import delays_of_cells, turn_delays

    keys = views.keys(speed_m_s)
    delays = [_delays.find(key) for key in keys]
    fresh = [row for row, known in enumerate(delays) if known is None]
    if fresh:
        few = views.chosen(np.array(fresh))
        cells = np.maximum(np.ceil(views.lengths_m / cell_m), 2.0).astype(np.int64)
        shares, counts = delays_of_cells(views.lengths_m.copy(), few.source, few.ear, few.whole_m, cells, cell_m)
        for row, share, count in zip(fresh, shares, counts.tolist(), strict=True):
            delays[row] = _delays.keep(keys[row], share[:count].copy())
    starts = np.cumsum([0, *map(len, delays)])  # type: ignore[arg-type]
    sums = turn_delays(np.concatenate(delays), starts, cell_m, wavenumber)  # type: ignore[arg-type]
    return np.asarray(0.5j / np.pi * (views.cosine * views.whole_m)[:, None] * wavenumber * sums)


_delays: KeptViews[FloatArray] = KeptViews(4096)
