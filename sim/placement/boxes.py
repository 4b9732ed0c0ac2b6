"""Slanted boxes of eight corners: whether two share space, and whether a point lies in one."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray, FloatArray

TOUCH_M = 1e-3
"""Boxes may touch: those that share less than this in some direction do not overlap (tapes read to a millimetre)."""


def share_space(one: FloatArray, other: FloatArray) -> bool:
    """Whether two slanted boxes (8, 3) overlap: no direction parts them (separating axes).

    Corners 0 to 3 go round one face, 4 to 7 round the opposite one, 4 next to 0.
    """
    edges = [body[[1, 3, 4]] - body[0] for body in (one, other)]
    axes = [np.cross(body[i], body[(i + 1) % 3]) for body in edges for i in range(3)]
    axes += [np.cross(a, b) for a in edges[0] for b in edges[1]]
    for axis in axes:
        length = float(np.linalg.norm(axis))
        if length < 1e-9:
            continue
        first, second = one @ axis / length, other @ axis / length
        if min(first.max(), second.max()) - max(first.min(), second.min()) <= TOUCH_M:
            return False
    return True


def inside_box(box: FloatArray, points: FloatArray, play_m: float = 0.0) -> BoolArray:
    """Whether points (n, 3) lie in a slanted box (8, 3) or at most `play_m` outside each of its faces."""
    edges = box[[1, 3, 4]] - box[0]
    lengths = np.linalg.norm(edges, axis=1)
    along = (points - box[0]) @ (edges / lengths[:, None]).T
    return np.asarray(((along >= -play_m) & (along <= lengths + play_m)).all(axis=1), dtype=np.bool_)


def upright_box(middle: FloatArray, size: FloatArray) -> FloatArray:
    """Corners (8, 3) of a box of full sizes (3,) along the axes of the room around its middle (3,)."""
    low, high = middle - 0.5 * size, middle + 0.5 * size
    round_it = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    return np.concatenate([np.column_stack([round_it, np.full(4, level)]) for level in (low[2], high[2])])


def shrunk(box: FloatArray, play_m: float) -> FloatArray:
    """The same box (8, 3) with every face moved inward by `play_m`, or by 2/5 of its depth where it is thin."""
    edges = box[[1, 3, 4]] - box[0]
    lengths = np.linalg.norm(edges, axis=1)
    factor = 1.0 - 2.0 * np.minimum(play_m / lengths, 0.4)
    middle = box.mean(axis=0)
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    corners = np.array([[*pair, level] for level in (-1, 1) for pair in signs]) * factor
    return np.asarray(middle + 0.5 * corners @ edges)
