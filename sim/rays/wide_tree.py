"""The tree that makes ray queries fast: eight boxes a node, eight surfaces a leaf, laid out for vectors of eight.

Coordinates inside are relative to the middle of all triangles.  Node boxes are float32, rounded outward and padded
by more than every rounding of the walk, so that no box is missed that a ray in float64 would enter.  Leaves are
float64: each surface as three affine functions of a point, its plane and its two own coordinates,

    plane  N . x + n = 0         across  U . x + u in -1 .. 1         up  V . x + v in -1 .. 1

with across + up <= 0 for a triangle; a parallelogram, two triangles that share their longest side, has no such third
limit.  Each limit is let out by what rounding can do at its surface, so that two surfaces that share a side overlap by
some 1e-14 m and nothing leaks between them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from sim.arrays import BoolArray, FloatArray, IntArray, frozen

SingleArray: TypeAlias = NDArray[np.float32]

EDGE_SLACK = 1.0e-12
"""Share of a surface's width by which its borders are let out at least."""
ROUNDING = 2.0**-52
SINGLE_PAD = 2.0**-20
"""Padding of node boxes as a share of the largest coordinate: 16 times the rounding of float32."""
LEAF_ROWS = 18
UNLABELLED = -3.0
"""Plane and owner of surfaces of which nobody told any: no ray passes over them."""
NODE_ROWS = 8
DEEPEST = 80
"""Levels that the walk's stack has room for (`walk_kernels.STACK_BYTES`)."""
FLAT_LEAVES = 63
"""With so few leaves, besides that of the largest surfaces, there are no levels: each is a bit of one whole number."""


@dataclass(frozen=True, slots=True, repr=False)
class WideTree:
    """Tree over triangles, as the kernels take it.

    Attributes
    ----------
    frame
        (8,) float64: middle (3), half size of the padded box about everything (3), largest coordinate, and the number
        of nodes when all children are leaves, child k of node i being leaf 1 + 8 i + k; 0 where there are levels.
    nodes
        (m, 8, 8) float32: rows low x y z, high x y z, child as int32, unused; column k is child k.  A child >= 0 is a
        node, below 0 it is leaf -1 - child.  The root is node 0; an empty place has a box nothing can be in.
    leaves
        (l, 18, 8) float64: rows N x y z n, U x y z u, V x y z v, limit of both coordinates, limit of their sum, slack
        at grazing, two int32 triangle numbers (the second where the sum is above 0), number of the plane, and of the
        owner.  Leaf 0 holds the largest surfaces and belongs to no node.
    """

    frame: FloatArray
    nodes: SingleArray
    leaves: FloatArray

    @property
    def arrays(self) -> tuple[FloatArray, SingleArray, FloatArray]:
        """The three arrays in the order the kernels expect."""
        return (self.frame, self.nodes, self.leaves)


def build_tree(triangles: FloatArray, plane: IntArray | None = None, owner: IntArray | None = None) -> WideTree:
    """Build the tree over (n, 3, 3) triangles; triangles without any area are never met and left out.

    plane, owner: (n,) numbers by which rays pass over triangles; without them no ray passes over any.
    """
    from sim.rays.tree_kernels import cheapest_folds, cut_to_leaves, fold_to_eight, split_in_two

    corners = np.array(triangles, dtype=float).reshape(-1, 3, 3)
    frame = _frame(corners)
    corners -= frame[:3]
    unlabelled = np.full(len(corners), UNLABELLED)
    labels = np.column_stack([unlabelled if each is None else each for each in (plane, owner)]).astype(np.float64)
    pieces, numbers = _pieces(corners, labels, frame[6])
    boxes = _boxes(pieces, numbers)
    area = np.linalg.norm(np.cross(pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0]), axis=1)
    area *= np.where(numbers[:, 0] == numbers[:, 1], 0.5, 1.0)
    largest = np.sort(np.argsort(-area, kind="stable")[:8])
    others = np.setdiff1d(np.arange(len(pieces)), largest)
    order, node_box, left, begin, end = split_in_two(boxes[others])
    is_leaf = cut_to_leaves(node_box, left, end - begin)
    leaves = np.flatnonzero(is_leaf)
    if len(leaves) <= FLAT_LEAVES:
        children = np.full((-(-len(leaves) // 8) or 1, 8), -1)
        children.flat[: len(leaves)] = leaves
        frame[7] = len(children)
    else:
        is_leaf, parted, to_left = cheapest_folds(node_box, left, end - begin)
        children, depth = fold_to_eight(left, is_leaf, parted, to_left)
        assert depth <= DEEPEST
    members, child = _members(children, is_leaf, begin, end, others[order])
    members[0, : len(largest)] = largest
    return WideTree(
        frozen(frame), _nodes(node_box, children, child, frame[6]), _leaves(pieces, numbers, labels, members, frame)
    )


def _frame(corners: FloatArray) -> FloatArray:
    frame = np.zeros(8)
    frame[3:6] = -1.0
    if len(corners):
        low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
        frame[:3] = 0.5 * (low + high)
        half = np.maximum(high - frame[:3], frame[:3] - low)
        frame[6] = half.max()
        frame[3:6] = half + SINGLE_PAD * half.max()
    return frame


def _pieces(corners: FloatArray, labels: FloatArray, extent_m: float) -> tuple[FloatArray, IntArray]:
    """Return corner and two neighbours (m, 3, 3) of each triangle or parallelogram, and two triangle numbers (m, 2).

    A triangle has its number twice.  Of a parallelogram the corner belongs to its first triangle.  Triangles of
    different labels (n, 2) are never paired.
    """
    from sim.rays.tree_kernels import pair_up

    first, second = _shared_sides(corners)
    alike = (labels[first // 3] == labels[second // 3]).all(axis=1)
    first, second = first[alike], second[alike]
    partner, apex = pair_up(corners, first, second, 16.0 * ROUNDING * extent_m)
    number = np.arange(len(corners))
    kept = (partner < 0) | (number < partner)
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    kept &= area > 0.0
    turn = np.maximum(apex, 0)[:, None] + np.arange(3)
    pieces = np.take_along_axis(corners, turn[:, :, None] % 3, axis=1)[kept]
    return pieces, np.column_stack([number, np.where(partner < 0, number, partner)])[kept]


def _shared_sides(corners: FloatArray) -> tuple[IntArray, IntArray]:
    """Pairs of 3 * triangle + opposite corner whose sides have the same ends.

    Points are told apart by a hash of their bits; whoever uses the pairs must still compare the points.
    """
    bits = (corners + 0.0).view(np.uint64)
    mixed = np.zeros(bits.shape[:2], np.uint64)
    for axis in range(3):
        mixed = (mixed ^ bits[:, :, axis]) * np.uint64(0x9E3779B97F4A7C15)
        mixed ^= mixed >> np.uint64(29)
    ends = np.sort(np.stack([mixed[:, [1, 2]], mixed[:, [2, 0]], mixed[:, [0, 1]]], axis=1), axis=2).reshape(-1, 2)
    side = ends[:, 0] * np.uint64(0xBF58476D1CE4E5B9) + ends[:, 1]
    order = np.argsort(side, kind="stable")
    same = side[order[1:]] == side[order[:-1]]
    return order[:-1][same], order[1:][same]


def _boxes(pieces: FloatArray, numbers: IntArray) -> FloatArray:
    """Low and high corner (m, 6) of each piece, the fourth corner of parallelograms included."""
    fourth = np.where(
        (numbers[:, 0] == numbers[:, 1])[:, None], pieces[:, 0], pieces[:, 1] + pieces[:, 2] - pieces[:, 0]
    )
    every = np.concatenate([pieces, fourth[:, None]], axis=1)
    return np.concatenate([every.min(axis=1), every.max(axis=1)], axis=1)


def _members(
    children: IntArray, leaf: BoolArray, begin: IntArray, end: IntArray, order: IntArray
) -> tuple[IntArray, IntArray]:
    """Return pieces in each leaf (l, 8), -1 where there is none and leaf 0 left empty, and child codes (m, 8)."""
    is_leaf = (children >= 0) & leaf[children]
    is_node = (children >= 0) & ~leaf[children]
    child = np.zeros(children.shape, np.int64)
    child[is_node] = 1 + np.arange(is_node.sum())
    child[is_leaf] = -2 - np.arange(is_leaf.sum())
    start, stop = begin[children[is_leaf]], end[children[is_leaf]]
    places = start[:, None] + np.arange(8)
    held = np.where(places < stop[:, None], order[np.minimum(places, len(order) - 1)] if len(order) else -1, -1)
    return np.concatenate([np.full((1, 8), -1), held]), child


def _nodes(node_box: FloatArray, children: IntArray, child: IntArray, extent_m: float) -> SingleArray:
    nodes = _aligned((len(children), NODE_ROWS, 8), np.float32)
    nodes[:, :3], nodes[:, 3:6], nodes[:, 6:] = np.inf, -np.inf, 0.0
    pad = SINGLE_PAD * extent_m
    boxes = node_box[np.maximum(children, 0)]
    real = (child != 0)[:, None, :]
    low = np.nextafter((boxes[:, :, :3] - pad).astype(np.float32), np.float32(-np.inf))
    high = np.nextafter((boxes[:, :, 3:] + pad).astype(np.float32), np.float32(np.inf))
    nodes[:, :3] = np.where(real, np.moveaxis(low, 2, 1), np.float32(np.inf))
    nodes[:, 3:6] = np.where(real, np.moveaxis(high, 2, 1), np.float32(-np.inf))
    nodes[:, 6] = child.astype(np.int32).view(np.float32)
    return frozen(nodes)


def _leaves(
    pieces: FloatArray, numbers: IntArray, labels: FloatArray, members: IntArray, frame: FloatArray
) -> FloatArray:
    rows = _surface_rows(pieces, numbers, frame[6])
    leaves = _aligned((len(members), LEAF_ROWS, 8), np.float64)
    leaves[:] = 0.0
    leaves[:, 12:14] = -np.inf
    filled = members >= 0
    at, lane = np.nonzero(filled)
    leaves[at, :15, lane] = rows[members[filled]]
    both = np.full((*members.shape, 2), -1, np.int32)
    both[filled] = numbers[members[filled]]
    leaves[:, 15] = both.view(np.float64)[:, :, 0]
    leaves[:, 16:] = UNLABELLED
    leaves[at, 16:, lane] = labels[numbers[members[filled], 0]]
    return frozen(leaves)


def _surface_rows(pieces: FloatArray, numbers: IntArray, extent_m: float) -> FloatArray:
    """Fifteen numbers (m, 15) of each surface, as `WideTree.leaves` describes them."""
    corner, one, two = pieces[:, 0], pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0]
    normal = np.cross(one, two)
    square = np.einsum("ij,ij->i", normal, normal)[:, None]
    across, up = 2.0 * np.cross(two, normal) / square, 2.0 * np.cross(normal, one) / square
    normal /= np.sqrt(square)
    rows = np.empty((len(pieces), 15))
    for start, way, value in ((0, normal, 0.0), (4, across, -1.0), (8, up, -1.0)):
        rows[:, start : start + 3] = way
        rows[:, start + 3] = value - np.einsum("ij,ij->i", way, corner)

    def miss(start: int, place: FloatArray, value: float) -> FloatArray:
        found = np.einsum("ij,ij->i", rows[:, start : start + 3], place) + rows[:, start + 3]
        return np.asarray(np.abs(found - value))

    # how far the functions are from their values at the corners: rounding of slivers, measured instead of bounded
    a, b, c = pieces[:, 0], pieces[:, 1], pieces[:, 2]
    off_plane = np.maximum(np.maximum(miss(0, a, 0.0), miss(0, b, 0.0)), miss(0, c, 0.0)) + 8.0 * ROUNDING * extent_m
    off_border = np.zeros(len(pieces))
    for place, u, v in ((a, -1.0, -1.0), (b, 1.0, -1.0), (c, -1.0, 1.0)):
        off_border = np.maximum(off_border, np.maximum(miss(4, place, u), miss(8, place, v)))
    steepest = np.maximum(np.linalg.norm(across, axis=1), np.linalg.norm(up, axis=1))
    slack = EDGE_SLACK + 4.0 * off_border + 16.0 * ROUNDING * extent_m * steepest
    rows[:, 12] = 1.0 + slack
    rows[:, 13] = np.where(numbers[:, 0] == numbers[:, 1], 2.0 * slack, np.inf)
    rows[:, 14] = 4.0 * off_plane * steepest
    return rows


def _aligned(shape: tuple[int, ...], kind: Any) -> NDArray[Any]:
    """An empty array whose rows begin on lines of the processor's cache, 64 bytes."""
    size = int(np.prod(shape)) * np.dtype(kind).itemsize
    room = np.empty(size + 64, np.uint8)
    start = -room.ctypes.data % 64
    lines: NDArray[Any] = room[start : start + size].view(kind)
    return lines.reshape(shape)
