"""The tree of boxes that makes ray queries fast, and the queries for arrays of rays."""

from __future__ import annotations

from dataclasses import dataclass

from ..arrays import FloatArray, IntArray, frozen


@dataclass(frozen=True, slots=True)
class Bvh:
    """A binary tree of boxes over triangles, as the kernels take it.

    Attributes
    ----------
    order
        (n,) triangle numbers in leaf order.
    boxes
        (m, 6) low and high corner of each node.
    child
        (m,) left child of an inner node (the right one is next to it), or a leaf's first place in `order`.
    count
        (m,) triangles in a leaf; 0 for an inner node.
    """

    order: IntArray
    boxes: FloatArray
    child: IntArray
    count: IntArray

    @property
    def arrays(self) -> tuple[IntArray, FloatArray, IntArray, IntArray]:
        """The four arrays in the order the kernels expect."""
        return (self.order, self.boxes, self.child, self.count)


def build_bvh(triangles: FloatArray) -> Bvh:
    """Build the tree over (n, 3, 3) triangles."""
    from .kernels import build_tree

    low, high = triangles.min(axis=1), triangles.max(axis=1)
    order, boxes, child, count = build_tree(low, high, triangles.mean(axis=1))
    return Bvh(frozen(order), frozen(boxes), frozen(child), frozen(count))
