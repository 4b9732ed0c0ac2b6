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
    return bool(sharing(np.array(one, dtype=np.float64)[None], np.array(other, dtype=np.float64)[None])[0, 0])


def sharing(many: FloatArray, others: FloatArray) -> BoolArray:
    """`share_space` (m, n) of each of some boxes (m, 8, 3) with each of some others (n, 8, 3)."""
    from sim.placement.solid_kernels import boxes_sharing

    return np.asarray(boxes_sharing(many, others, TOUCH_M), dtype=np.bool_)


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

_SIGNS: FloatArray = np.array(
    [[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1], [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]], dtype=float
)


def faces_of(solid: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Outward unit normals (6, 3) and offsets (6,) of the faces of a solid (8, 3); sides of no length are left out."""
    from sim.placement.solid_kernels import solid_faces

    normals, offsets = solid_faces(np.array(solid, dtype=np.float64))
    return normals, np.asarray(offsets)


def depth_inside(solid: FloatArray, points: FloatArray) -> FloatArray:
    """How deep in metres points (n, 3) lie below the nearest face of a solid (8, 3); negative outside."""
    from sim.placement.solid_kernels import depths_inside

    return np.asarray(depths_inside(np.array(solid, dtype=np.float64), np.array(points, dtype=np.float64)))


def shared_depth_m(one: FloatArray, other: FloatArray) -> float:
    """How far in metres one solid (8, 3) would have to move to leave another; zero or less where they are apart.

    Separating axes: the normals of all faces, and what is square to a side of each (Ericson, Real-Time Collision
    Detection (2005), section 5.2.1, for convex bodies).
    """
    return float(depths_shared(one, np.array(other, dtype=np.float64)[None])[0])


def first_holding(solids: FloatArray, points: FloatArray, deeper_m: float) -> IntArray:
    """Number (n,) of the first of solids (s, 8, 3) in which each point (n, 3) lies deeper than that, or -1."""
    from sim.placement import solid_kernels

    return np.asarray(solid_kernels.first_holding(solids, np.array(points, dtype=np.float64), deeper_m))


def depths_shared(one: FloatArray, others: FloatArray) -> FloatArray:
    """`shared_depth_m` (s,) of one solid (8, 3) with each of some others (s, 8, 3)."""
    from sim.placement import solid_kernels

    return np.asarray(solid_kernels.depths_shared(np.array(one, dtype=np.float64), others))


def drawn_in(solid: FloatArray, by_m: float) -> FloatArray:
    """The same solid (8, 3) with every face moved inward by `by_m`, or by 2/5 of its size where it is thin."""
    from sim.placement.solid_kernels import draw_in

    return np.asarray(draw_in(np.array(solid, dtype=np.float64), by_m))


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
    from sim.placement.solid_kernels import pass_through

    return np.asarray(pass_through(np.array(solid, dtype=np.float64), np.array(ends, dtype=np.float64)))


def is_enclosed(points: FloatArray, triangles: FloatArray) -> BoolArray:
    """Whether points (n, 3) lie within a closed surface (t, 3, 3), by the solid angle it takes up from each.

    Van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125-126: 4 pi from within, 0 from outside.
    """
    from sim.placement.solid_kernels import are_enclosed

    return np.asarray(are_enclosed(np.array(points, dtype=np.float64), np.array(triangles, dtype=np.float64)))
