"""What solid things take of the depth before a surface, laid flat on it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..arrays import FloatArray
from .surfaces import Surface

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

SMALLEST_M2 = 1e-6
BOX_RINGS = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]])


def blocked_by(body: FloatArray, surface: Surface, depth_m: float) -> BaseGeometry | None:
    """What a box (8, 3), such as another panel, takes from a surface for panels of a depth; None when nothing."""
    return laid_flat([body], surface, depth_m)


def laid_flat(
    solids: Sequence[FloatArray], surface: Surface, depth_m: float, play_m: float = 0.0
) -> BaseGeometry | None:
    """Hull of what solids (each (n, 3): a triangle, or a box of eight corners) take of the depth before a surface.

    One body told by triangles is taken as its hull: cavities of furniture get no panels.
    """
    import shapely

    points: list[FloatArray] = []
    for solid in solids:
        flat = surface.to_flat(solid)
        if flat[:, 2].min() >= depth_m - 1e-6 or flat[:, 2].max() <= 1e-6:
            continue
        points.append(_between(flat, depth_m))
    if not points:
        return None
    hull: Any = shapely.convex_hull(shapely.MultiPoint(np.concatenate(points)[:, :2]))
    if play_m > 0.0:
        hull = hull.buffer(play_m, join_style="mitre")
    return hull if hull.area > SMALLEST_M2 else None


def _between(flat: FloatArray, depth_m: float) -> FloatArray:
    """Points (k, 3) that span the part of a convex solid (n, 3) whose third coordinate is between 0 and a depth."""
    kept = [flat[(flat[:, 2] >= 0.0) & (flat[:, 2] <= depth_m)]]
    for level in (0.0, depth_m):
        below, above = flat[flat[:, 2] < level], flat[flat[:, 2] > level]
        if len(below) and len(above):
            share = (level - below[:, None, 2]) / (above[None, :, 2] - below[:, None, 2])
            kept.append((below[:, None] + share[..., None] * (above[None] - below[:, None])).reshape(-1, 3))
    return np.concatenate(kept)


def box_between(low: FloatArray, high: FloatArray) -> FloatArray:
    """Corners (8, 3) of an upright box."""
    return np.where(BOX_RINGS == 1, high, low)
