"""Triangles between directions over the whole sphere, and which of them a direction meets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sim.arrays import FloatArray, IntArray

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

NEAR: Final = 8
"""Triangles whose middles are nearest are looked at first; nearly always one of them is met."""
OUTSIDE: Final = -1e-9
SLIVER: Final = 1e-9
_AT_ONCE: Final = 2_000_000


@dataclass(frozen=True, eq=False)
class SphereTriangles:
    """Triangles of the convex hull of directions.

    `corners` (t, 3) are numbers of directions, `inverses` (t, 3, 3) undo the matrices of corner vectors, so that what
    they give of a direction are its weights at the corners, up to their sum; `middles` finds triangles near by.
    """

    corners: IntArray
    inverses: FloatArray
    middles: cKDTree

    @classmethod
    def between(cls, directions: FloatArray) -> SphereTriangles:
        """Span triangles between unit vectors (p, 3) that reach all round."""
        from scipy.spatial import ConvexHull, cKDTree

        corners = np.asarray(ConvexHull(directions).simplices, dtype=np.int64)
        vectors = directions[corners].transpose(0, 2, 1)
        whole = np.abs(np.linalg.det(vectors)) > SLIVER  # some have all corners on one great circle
        middles = vectors[whole].sum(axis=2)
        middles /= np.linalg.norm(middles, axis=1, keepdims=True)
        return cls(corners[whole], np.linalg.inv(vectors[whole]), cKDTree(middles))

    def around(self, directions: FloatArray) -> tuple[IntArray, FloatArray]:
        """Corner numbers (m, 3) and weights (m, 3) of the triangle that each unit vector (m, 3) meets."""
        near = self.middles.query(directions, k=min(NEAR, len(self.corners)))[1].reshape(len(directions), -1)
        weights = np.einsum("mnij,mj->mni", self.inverses[near], directions)
        best = np.argmax(weights.min(axis=2), axis=1)
        rows = np.arange(len(directions))
        met, chosen = near[rows, best], weights[rows, best]
        missed = np.flatnonzero(chosen.min(axis=1) < OUTSIDE)
        step = max(1, _AT_ONCE // (3 * len(self.corners)))
        for some in (missed[at : at + step] for at in range(0, len(missed), step)):
            all_weights = np.einsum("tij,mj->mti", self.inverses, directions[some])
            met[some] = np.argmax(all_weights.min(axis=2), axis=1)
            chosen[some] = all_weights[np.arange(len(some)), met[some]]
        chosen = np.maximum(chosen, 0.0)
        return self.corners[met], chosen / chosen.sum(axis=1, keepdims=True)
