"""Pieces of a tree one by one, against the same in whole arrays."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sim.rays.piece_kernels import boxes_of, fill_leaves, first_come_first, pieces_of, side_keys, surface_rows
from sim.rays.tree_kernels import pair_up

seeds = st.integers(0, 2**32 - 1)
ROUNDING = 2.0**-52


def grid_of_triangles(seed: int, squares: int) -> np.ndarray:
    """Squares of a bent sheet, two triangles each, in any order and turned any way; some of no area."""
    rng = np.random.default_rng(seed)
    x, y = (one.ravel() for one in np.meshgrid(np.arange(squares), np.arange(squares), indexing="ij"))
    height = rng.integers(0, 2, squares + 1)[x]
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], dtype=float)
    quads = corners[None] + np.column_stack([x, y, height])[:, None]
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]], quads[:2, [0, 1, 1]]])
    turned = [np.roll(one, int(rng.integers(3)), axis=0) for one in rng.permutation(triangles)]
    return np.array(turned)


@given(seeds, st.integers(2, 6))
def test_sides_of_equal_ends_have_equal_keys_and_keep_their_order(seed: int, squares: int) -> None:
    triangles = grid_of_triangles(seed, squares)
    keys = side_keys((triangles + 0.0).view(np.uint64))
    sides = np.stack([triangles[:, [1, 2]], triangles[:, [2, 0]], triangles[:, [0, 1]]], axis=1).reshape(-1, 2, 3)
    known: dict[frozenset[tuple[float, ...]], int] = {}
    for key, side in zip(keys.tolist(), sides.tolist(), strict=True):
        assert known.setdefault(frozenset(map(tuple, side)), key) == key
    assert len(set(known.values())) == len(known)
    order = np.random.default_rng(seed).permutation(len(keys))
    order = order[np.argsort(keys[order], kind="stable")]  # in order of keys, equal ones anyhow
    first_come_first(keys, order)
    np.testing.assert_array_equal(order, np.argsort(keys, kind="stable"))


@given(seeds, st.integers(2, 6))
def test_pieces_boxes_and_rows_are_those_of_whole_arrays(seed: int, squares: int) -> None:
    triangles = grid_of_triangles(seed, squares)
    keys = side_keys((triangles + 0.0).view(np.uint64))
    order = np.argsort(keys, kind="stable")
    same = keys[order][1:] == keys[order][:-1]
    partner, apex = pair_up(triangles, order[:-1][same], order[1:][same], 1e-12)
    pieces, numbers = pieces_of(triangles, partner, apex)
    area = np.linalg.norm(np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1)
    kept = np.flatnonzero((area > 0.0) & ((partner < 0) | (np.arange(len(triangles)) < partner)))
    np.testing.assert_array_equal(
        numbers, np.column_stack([kept, np.where(partner < 0, np.arange(len(partner)), partner)[kept]])
    )
    for piece, number in zip(pieces, kept.tolist(), strict=True):
        np.testing.assert_array_equal(piece, np.roll(triangles[number], -max(int(apex[number]), 0), axis=0))

    boxes, areas = boxes_of(pieces, numbers)
    single = numbers[:, 0] == numbers[:, 1]
    fourth = np.where(single[:, None], pieces[:, 0], pieces[:, 1] + pieces[:, 2] - pieces[:, 0])
    every = np.concatenate([pieces, fourth[:, None]], axis=1)
    np.testing.assert_array_equal(boxes, np.concatenate([every.min(axis=1), every.max(axis=1)], axis=1))
    np.testing.assert_allclose(areas, area[kept] * np.where(single, 0.5, 1.0), rtol=1e-14)

    rows = surface_rows(pieces, numbers, 3.0, ROUNDING, 1e-12)
    one, two = pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0]
    normal = np.cross(one, two)
    square = (normal**2).sum(axis=1, keepdims=True)
    across, up = 2.0 * np.cross(two, normal) / square, 2.0 * np.cross(normal, one) / square
    for start, way, value in ((0, normal / np.sqrt(square), 0.0), (4, across, -1.0), (8, up, -1.0)):
        np.testing.assert_allclose(rows[:, start : start + 3], way, atol=1e-14)
        np.testing.assert_allclose(rows[:, start + 3], value - (way * pieces[:, 0]).sum(axis=1), atol=1e-13)
    steepest = np.maximum(np.linalg.norm(across, axis=1), np.linalg.norm(up, axis=1))
    least = 1e-12 + 16.0 * ROUNDING * 3.0 * steepest
    assert (rows[:, 12] >= 1.0 + least - ROUNDING).all() and (rows[:, 12] <= 1.0 + least + 1e-13).all()
    np.testing.assert_array_equal(np.isinf(rows[:, 13]), ~single)
    assert (rows[:, 14] >= 32.0 * ROUNDING * 3.0 * steepest * (1.0 - 1e-12)).all()


def test_leaves_hold_their_members_and_nothing_else() -> None:
    rng = np.random.default_rng(3)
    rows, numbers, labels = (
        rng.normal(size=(5, 15)),
        np.array([[0, 0], [1, 3], [2, 2], [4, 4], [5, 5]]),
        rng.random((6, 2)),
    )
    members = np.array([[0, 1, -1, -1, -1, -1, -1, -1], [2, 3, 4, -1, -1, -1, -1, -1]])
    leaves = np.full((2, 18, 8), np.nan)
    fill_leaves(leaves, rows, numbers, labels, members)
    for leaf, lane in np.argwhere(members >= 0):
        piece = members[leaf, lane]
        np.testing.assert_array_equal(leaves[leaf, :15, lane], rows[piece])
        np.testing.assert_array_equal(leaves[leaf, 16:, lane], labels[numbers[piece, 0]])
    empty = leaves.transpose(0, 2, 1)[members < 0]
    assert (empty[:, :12] == 0.0).all() and (empty[:, 12:14] == -np.inf).all() and (empty[:, 16:] == -3.0).all()
