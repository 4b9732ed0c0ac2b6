"""The tree over triangles as a record."""

from __future__ import annotations

import numpy as np
import pytest

from sim.geometry.bvh import build_bvh
from sim.geometry.kernels import nearest_hit
from tests.geometry.furnished import furnished_room


def test_it_covers_all_triangles_and_cannot_be_written_to() -> None:
    triangles = np.concatenate([patch.triangles for patch in furnished_room(np.random.default_rng(3), 5)])
    bvh = build_bvh(triangles)
    assert sorted(bvh.order) == list(range(len(triangles)))
    assert bvh.boxes[0, :3] == pytest.approx(triangles.min(axis=(0, 1)), abs=2e-9)
    assert bvh.boxes[0, 3:] == pytest.approx(triangles.max(axis=(0, 1)), abs=2e-9)
    assert int(bvh.count.sum()) == len(triangles)
    for array in bvh.arrays:
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


def test_many_equal_triangles_do_not_break_the_tree() -> None:
    """All middles fall together: the splits cannot part them, and the tree must still end."""
    one = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    triangles = np.repeat(one[None], 300, axis=0)
    bvh = build_bvh(triangles)
    assert sorted(bvh.order) == list(range(300))
    none = np.zeros(300, np.int64)
    t, found = nearest_hit(
        np.array([0.2, 0.2, 1.0]), np.array([0.0, 0.0, -1.0]), 0.0, np.inf, -1, -1, -1, bvh.arrays, triangles,
        none, none,
    )  # fmt: skip
    assert t == 1.0 and 0 <= found < 300
