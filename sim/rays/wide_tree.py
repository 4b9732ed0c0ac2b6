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
NODE_ROWS = 8
DEEPEST = 80
"""Levels that the walk's stack has room for (`walk_kernels.STACK_BYTES`)."""
FLAT_LEAVES = 63
"""With so few leaves, besides that of the largest surfaces, there are no levels: each is a bit of one whole number."""
BROAD = 16
"""Boxes of a node where there are no levels."""


@dataclass(frozen=True, slots=True, repr=False)
class WideTree:
    """Tree over triangles, as the kernels take it.

    Attributes
    ----------
    frame
        (8,) float64: middle (3), half size of the padded box about everything (3), largest coordinate, and the number
        of nodes when all children are leaves, child k of node i being leaf 1 + 16 i + k; 0 where there are levels.
    nodes
        (m, 8, 8) float32, (m, 8, 16) where there are no levels: rows low x y z, high x y z, child as int32, unused;
        column k is child k.  A child >= 0 is a node, below 0 it is leaf -1 - child.  The root is node 0; an empty place
        has a box nothing can be in.
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
    from sim.rays.piece_kernels import NO_LABEL, boxes_of
    from sim.rays.tree_kernels import BOX_COSTS, cheapest_folds, cut_to_leaves, fold_to_eight, split_in_two

    corners = np.array(triangles, dtype=float).reshape(-1, 3, 3)
    frame = _frame(corners)
    corners -= frame[:3]
    unlabelled = np.full(len(corners), NO_LABEL)
    labels = np.column_stack([unlabelled if each is None else each for each in (plane, owner)]).astype(np.float64)
    pieces, numbers = _pieces(corners, labels, frame[6])
    boxes, area = boxes_of(pieces, numbers)
    largest = _largest(area, 8)
    others = np.delete(np.arange(len(pieces)), largest)
    order, node_box, left, begin, end = split_in_two(boxes[others])
    for box_cost in BOX_COSTS:
        is_leaf = cut_to_leaves(node_box, left, end - begin, box_cost)
        leaves = np.flatnonzero(is_leaf)
        if len(leaves) <= FLAT_LEAVES:
            break
    if len(leaves) <= FLAT_LEAVES:
        children = np.full((-(-len(leaves) // BROAD) or 1, BROAD), -1)
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


def _largest(values: FloatArray, count: int) -> IntArray:
    """Numbers, in order, of the largest values; of equal ones the first."""
    if len(values) <= count:
        return np.arange(len(values))
    least = np.partition(values, len(values) - count)[len(values) - count]
    some = np.flatnonzero(values >= least)
    return np.sort(some[np.argsort(-values[some], kind="stable")[:count]])


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
    from sim.rays.piece_kernels import pieces_of
    from sim.rays.tree_kernels import pair_up

    first, second = _shared_sides(corners)
    if (labels != labels[:1]).any():
        alike = (labels[first // 3] == labels[second // 3]).all(axis=1)
        first, second = first[alike], second[alike]
    partner, apex = pair_up(corners, first, second, 16.0 * ROUNDING * extent_m)
    found: tuple[FloatArray, IntArray] = pieces_of(corners, partner, apex)
    return found


def _shared_sides(corners: FloatArray) -> tuple[IntArray, IntArray]:
    """Pairs of 3 * triangle + opposite corner whose sides have the same ends.

    Points are told apart by a hash of their bits; whoever uses the pairs must still compare the points.
    """
    from sim.rays.piece_kernels import first_come_first, side_keys

    side = side_keys((corners + 0.0).view(np.uint64))
    order = np.argsort(side)
    first_come_first(side, order)
    ordered = side[order]
    same = ordered[1:] == ordered[:-1]
    return order[:-1][same], order[1:][same]


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
    nodes = _aligned((len(children), NODE_ROWS, children.shape[1]), np.float32)
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
    from sim.rays.piece_kernels import fill_leaves, surface_rows

    rows = surface_rows(pieces, numbers, frame[6], ROUNDING, EDGE_SLACK)
    leaves = _aligned((len(members), LEAF_ROWS, 8), np.float64)
    fill_leaves(leaves, rows, numbers, labels, members)
    both = np.full((*members.shape, 2), -1, np.int32)
    both[members >= 0] = numbers[members[members >= 0]]
    leaves[:, 15] = both.view(np.float64)[:, :, 0]
    return frozen(leaves)


def _aligned(shape: tuple[int, ...], kind: Any) -> NDArray[Any]:
    """An empty array whose rows begin on lines of the processor's cache, 64 bytes."""
    size = int(np.prod(shape)) * np.dtype(kind).itemsize
    room = np.empty(size + 64, np.uint8)
    start = -room.ctypes.data % 64
    lines: NDArray[Any] = room[start : start + size].view(kind)
    return lines.reshape(shape)
