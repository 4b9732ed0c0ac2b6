"""Ear clipping, welding and splitting: nothing lost, nothing doubled, and slow twins agree."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.geometry.seams import ear_faces, edge_balance, split_at_corners, weld

SQUARE = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]])


def areas(flat: np.ndarray) -> np.ndarray:
    first, second = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    return 0.5 * (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])


@pytest.mark.parametrize("turned", [False, True])
def test_a_hole_is_left_out_and_triangles_are_counter_clockwise(turned: bool) -> None:
    hole = np.array([[1.0, 1.0], [2.0, 1.0], [2.0, 2.0], [1.0, 2.0]])
    rings = [SQUARE[::-1] if turned else SQUARE, hole]
    triangles = np.concatenate(rings)[ear_faces(rings)]
    assert (areas(triangles) > 0.0).all()
    assert areas(triangles).sum() == pytest.approx(12.0 - 1.0)
    assert not (np.abs(triangles.mean(axis=1) - 1.5) < 0.3).all(axis=1).any()


def test_weld_merges_what_is_nearer_than_the_tolerance_only() -> None:
    triangles = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[1, 4e-8, 0], [1, 1, 0], [0, 1, 2e-7]]])
    corners, faces = weld(triangles, 1e-7)
    assert len(corners) == 5
    assert faces[0, 1] == faces[1, 0] and faces[0, 2] != faces[1, 2]
    assert corners[faces] == pytest.approx(triangles, abs=1e-7)


@given(seed=st.integers(0, 2**32 - 1), jitter=st.floats(0.0, 1e-9))
def test_weld_agrees_with_comparing_every_pair(seed: int, jitter: float) -> None:
    rng = np.random.default_rng(seed)
    points = rng.integers(0, 3, size=(8, 3, 3)) + jitter * rng.uniform(-1.0, 1.0, size=(8, 3, 3))
    corners, faces = weld(points, 1e-7)
    flat = points.reshape(-1, 3)
    near = np.linalg.norm(flat[:, None] - flat[None], axis=2) <= 1e-7
    numbers = faces.reshape(-1)
    assert ((numbers[:, None] == numbers[None]) == near).all()
    assert len(corners) == len(np.unique(np.rint(flat), axis=0))


@given(count=st.integers(1, 6), seed=st.integers(0, 2**32 - 1))
def test_split_gives_every_neighbour_its_corner(count: int, seed: int) -> None:
    """One large triangle beside `count + 1` small ones along its longest edge: afterwards all edges pair up."""
    fractions = np.sort(np.random.default_rng(seed).uniform(0.05, 0.95, count))
    if np.diff(fractions).min(initial=1.0) < 1e-3:
        return
    along = np.column_stack([4.0 * np.array([0.0, *fractions, 1.0]), np.zeros(count + 2), np.zeros(count + 2)])
    above, below = np.array([1.0, 2.0, 0.0]), np.array([2.0, -2.0, 0.0])
    triangles = [np.stack([along[0], along[-1], above])]
    triangles += [np.stack([along[k + 1], along[k], below]) for k in range(count + 1)]
    corners, faces = weld(np.array(triangles), 1e-7)
    split, parents = split_at_corners(corners, faces, 1e-7)
    edges, uses, balance = edge_balance(split)
    on_line = (corners[edges][..., 1] == 0.0).all(axis=1)
    assert (uses[on_line] == 2).all() and (balance[on_line] == 0).all()
    assert np.bincount(parents).tolist() == [count + 1] + [1] * (count + 1)
    assert areas(corners[split][..., :2]).sum() == pytest.approx(areas(np.array(triangles)[..., :2]).sum())
    assert (areas(corners[split][..., :2]) > 0.0).all()


def test_all_three_edges_of_a_face_may_be_split() -> None:
    big = np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0]])
    middles = [0.5 * (big[k] + big[(k + 1) % 3]) for k in range(3)]
    outside = [np.array([2.0, -2.0, 0.0]), np.array([4.0, 4.0, 0.0]), np.array([-2.0, 2.0, 0.0])]
    around = []
    for k in range(3):
        start, end = big[k], big[(k + 1) % 3]
        around += [np.stack([middles[k], start, outside[k]]), np.stack([end, middles[k], outside[k]])]
    corners, faces = weld(np.array([big, *around]), 1e-7)
    split, parents = split_at_corners(corners, faces, 1e-7)
    assert (parents == 0).sum() == 4
    assert areas(corners[split[parents == 0]][..., :2]).sum() == pytest.approx(8.0)
    _, uses, balance = edge_balance(split)
    assert (uses == 1).sum() == 6 and (balance[uses == 2] == 0).all()


def test_edges_without_corners_in_the_middle_are_left_alone() -> None:
    triangle = np.array([[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], [[0.5, 0.1, 0.0], [1, 1, 1], [0, 1, 1]]])
    corners, faces = weld(triangle, 1e-4)
    split, parents = split_at_corners(corners, faces, 1e-4)
    assert (split == faces).all() and parents.tolist() == [0, 1]
