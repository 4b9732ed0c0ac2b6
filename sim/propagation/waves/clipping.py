"""Flat convex polygons cut by planes: what of a cell lies inside a convex solid, and what beside it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from sim.arrays import FloatArray

ON_M = 1e-7
"""A corner this near to a plane lies in it."""
SMALLEST_M2 = 1e-7


def split(polygon: FloatArray, normal: FloatArray, offset_m: float) -> tuple[FloatArray | None, FloatArray | None]:
    """Parts of a convex polygon (k, 3) with normal . x below an offset and above it, None where there is none."""
    height = polygon @ normal - offset_m
    if (height <= ON_M).all():
        return polygon, None
    if (height >= -ON_M).all():
        return None, polygon
    below: list[FloatArray] = []
    above: list[FloatArray] = []
    for here, there, h, g in zip(polygon, np.roll(polygon, -1, axis=0), height, np.roll(height, -1), strict=True):
        if h <= ON_M:
            below.append(here)
        if h >= -ON_M:
            above.append(here)
        if min(h, g) < -ON_M and max(h, g) > ON_M:
            cut = here + h / (h - g) * (there - here)
            below.append(cut)
            above.append(cut)
    return _worth(below), _worth(above)


def cut_out(
    polygon: FloatArray, planes: Iterable[tuple[FloatArray, float]]
) -> tuple[FloatArray | None, list[FloatArray]]:
    """What of a convex polygon (k, 3) lies below all planes (normal, offset), and convex parts of what does not."""
    rest: FloatArray | None = polygon
    outside = []
    for normal, offset in planes:
        if rest is None:
            break
        rest, beyond = split(rest, normal, offset)
        if beyond is not None:
            outside.append(beyond)
    if rest is None:
        return None, [polygon]  # nothing of it lies inside: it stays in one piece
    return rest, outside


def area_m2(polygon: FloatArray) -> float:
    """Area of a flat polygon (k, 3)."""
    spread = polygon - polygon[0]
    return 0.5 * float(np.linalg.norm(np.cross(spread[1:-1], spread[2:]).sum(axis=0)))


def quads_of(polygon: FloatArray) -> list[FloatArray]:
    """A convex polygon (k, 3) as quadrilaterals (4, 3); a triangle has its last corner twice."""
    made = []
    for first in range(1, len(polygon) - 1, 2):
        last = min(first + 2, len(polygon) - 1)
        made.append(polygon[[0, first, first + 1, last]])
    return made


def _worth(corners: list[FloatArray]) -> FloatArray | None:
    if len(corners) < 3:
        return None
    polygon = np.array(corners)
    return polygon if area_m2(polygon) > SMALLEST_M2 else None
