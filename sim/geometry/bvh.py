"""The tree of boxes that makes ray queries fast, and the queries for arrays of rays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

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


def nearest_triangles(
    triangles: FloatArray, bvh: Bvh, origins: FloatArray, directions: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Return distance (in lengths of the direction) and triangle of the nearest hit of each ray.

    origins, directions: (r, 3).  A miss gives infinity and -1.
    """
    from .kernels import nearest_hit

    none = np.full(len(triangles), -2, dtype=np.int64)
    distance, triangle = np.full(len(origins), np.inf), np.full(len(origins), -1, dtype=np.int64)
    for i in range(len(origins)):
        distance[i], triangle[i] = nearest_hit(
            origins[i], directions[i], 0.0, np.inf, -1, -1, -1, bvh.arrays, triangles, none, none
        )
    return distance, triangle
