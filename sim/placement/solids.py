"""Solids: whether two share space, whether a point lies in one, and how deep."""

from __future__ import annotations

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray

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


# Convex solids of eight corners: how deep two are in each other, what lies in one, and the same one drawn in a little.
#
# Corners 0 to 3 go round one face, 4 to 7 round the opposite one, 4 next to 0, as those of loudspeakers' boxes and of
# `sim.geometry.meshes.furniture_solids` do.  Faces need not be parallel: a console that slopes down to the floor is
# one.

_QUADS: IntArray = np.array([[0, 1, 2, 3], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]])
_SIDES: IntArray = np.array(
    [[0, 1], [1, 2], [2, 3], [3, 0], [4, 5], [5, 6], [6, 7], [7, 4], [0, 4], [1, 5], [2, 6], [3, 7]]
)
_SIGNS: FloatArray = np.array(
    [[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1], [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]], dtype=float
)
MOST_DRAWN_IN = 0.4
"""Share of its size by which a thin solid is drawn in from each side at most."""
PARALLEL = 1.0e-9


def faces_of(solid: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Outward unit normals (6, 3) and offsets (6,) of the faces of a solid (8, 3); sides of no length are left out."""
    quads = solid[_QUADS]
    normals = np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1])
    sizes = np.linalg.norm(normals, axis=1)
    normals = normals[sizes > 0.0] / sizes[sizes > 0.0, None]
    middles = quads[sizes > 0.0].mean(axis=1)
    normals = normals * np.where(((middles - solid.mean(axis=0)) * normals).sum(axis=1) < 0.0, -1.0, 1.0)[:, None]
    return normals, np.asarray((middles * normals).sum(axis=1))


def depth_inside(solid: FloatArray, points: FloatArray) -> FloatArray:
    """How deep in metres points (n, 3) lie below the nearest face of a solid (8, 3); negative outside."""
    normals, offsets = faces_of(solid)
    return np.asarray((offsets - points @ normals.T).min(axis=1))


def shared_depth_m(one: FloatArray, other: FloatArray) -> float:
    """How far in metres one solid (8, 3) would have to move to leave another; zero or less where they are apart.

    Separating axes: the normals of all faces, and what is square to a side of each (Ericson, Real-Time Collision
    Detection (2005), section 5.2.1, for convex bodies).
    """
    low, high = np.maximum(one.min(axis=0), other.min(axis=0)), np.minimum(one.max(axis=0), other.max(axis=0))
    if (high <= low).any():
        return float((high - low).min())
    ways = [solid[_SIDES[:, 1]] - solid[_SIDES[:, 0]] for solid in (one, other)]
    axes = np.concatenate(
        [faces_of(one)[0], faces_of(other)[0], np.cross(ways[0][:, None], ways[1][None]).reshape(-1, 3)]
    )
    sizes = np.linalg.norm(axes, axis=1)
    axes = axes[sizes > PARALLEL] / sizes[sizes > PARALLEL, None]
    first, second = one @ axes.T, other @ axes.T
    gaps = np.minimum(first.max(axis=0) - second.min(axis=0), second.max(axis=0) - first.min(axis=0))
    return float(gaps.min())


def drawn_in(solid: FloatArray, by_m: float) -> FloatArray:
    """The same solid (8, 3) with every face moved inward by `by_m`, or by 2/5 of its size where it is thin."""
    sides = np.linalg.norm(solid[_SIDES[:, 1]] - solid[_SIDES[:, 0]], axis=1)
    # sides along the first ring, across it, and from ring to ring
    sizes = np.array([sides[[0, 2, 4, 6]].mean(), sides[[1, 3, 5, 7]].mean(), sides[8:].mean()])
    factor = 1.0 - 2.0 * np.minimum(by_m / np.maximum(sizes, PARALLEL), MOST_DRAWN_IN)
    return places_in(solid, _SIGNS * factor)


def places_in(solid: FloatArray, fractions: FloatArray) -> FloatArray:
    """Points (n, 3) of a solid (8, 3) at shares (n, 3), -1 .. 1 from face to face."""
    weights = np.prod(1.0 + fractions[:, None, :] * _SIGNS[None], axis=2) / 8.0
    return np.asarray(weights @ solid)


def fraction_within(solid: FloatArray, others: tuple[FloatArray, ...]) -> float:
    """Share of a solid (8, 3) that lies in any of some others, by 7 x 7 x 7 points."""
    steps = np.linspace(-1.0, 1.0, 15)[1::2]
    points = places_in(solid, np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3))
    held: BoolArray = np.zeros(len(points), dtype=np.bool_)
    for other in others:
        held |= depth_inside(other, points) >= 0.0
    return float(held.mean())


def segments_through(solid: FloatArray, ends: FloatArray) -> BoolArray:
    """Whether segments (n, 2, 3) have a stretch inside a solid (8, 3): the segment cut by all faces in turn."""
    normals, offsets = faces_of(solid)
    begin, way = offsets - ends[:, 0] @ normals.T, (ends[:, 1] - ends[:, 0]) @ normals.T
    with np.errstate(divide="ignore", invalid="ignore"):
        meets = begin / way
    enter = np.where(way < 0.0, meets, 0.0).max(axis=1, initial=0.0)
    leave = np.where(way > 0.0, meets, 1.0).min(axis=1, initial=1.0)
    beside = ((way == 0.0) & (begin <= 0.0)).any(axis=1)
    return np.asarray((leave > enter) & ~beside)


def is_enclosed(points: FloatArray, triangles: FloatArray) -> BoolArray:
    """Whether points (n, 3) lie within a closed surface (t, 3, 3), by the solid angle it takes up from each.

    Van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125-126: 4 pi from within, 0 from outside.
    """
    total = np.zeros(len(points))
    for number, point in enumerate(points):
        a, b, c = (triangles[:, corner] - point for corner in range(3))
        la, lb, lc = (np.linalg.norm(way, axis=1) for way in (a, b, c))
        triple = (a * np.cross(b, c)).sum(axis=1)
        below = la * lb * lc + (a * b).sum(axis=1) * lc + (b * c).sum(axis=1) * la + (c * a).sum(axis=1) * lb
        total[number] = 2.0 * np.arctan2(triple, below).sum()
    return np.asarray(np.abs(total) > 2.0 * np.pi)
