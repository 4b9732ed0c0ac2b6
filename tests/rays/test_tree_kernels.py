"""Building the tree against slow twins: every pair, every split, every folding tried."""

from __future__ import annotations

from functools import cache

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sim.rays.tree_kernels import (
    BINS,
    BOX_COSTS,
    LEAF_COST,
    NODE_COST,
    cheapest_folds,
    cheapest_split,
    cut_to_leaves,
    fold_to_eight,
    split_in_two,
)
from sim.rays.wide_tree import _pieces

seeds = st.integers(0, 2**32 - 1)


def random_boxes(rng: np.random.Generator, n: int) -> np.ndarray:
    low = rng.uniform(-3.0, 3.0, (n, 3))
    return np.concatenate([low, low + rng.uniform(0.0, 1.0, (n, 3)) ** 3], axis=1)


def area(boxes: np.ndarray) -> float:
    size = boxes[:, 3:].max(axis=0) - boxes[:, :3].min(axis=0)
    return float(size[0] * size[1] + size[1] * size[2] + size[2] * size[0])


@given(seeds, st.integers(2, 60))
def test_no_split_between_bins_is_cheaper(seed: int, n: int) -> None:
    boxes = random_boxes(np.random.default_rng(seed), n)
    axis, place, low, scale = cheapest_split(boxes, 0, n)
    middle = boxes[:, :3] + boxes[:, 3:]

    def cost(axis: int, place: int) -> float:
        begin, end = middle[:, axis].min(), middle[:, axis].max()
        bins = ((middle[:, axis] - begin) * (BINS * (1.0 - 1e-9) / (end - begin))).astype(int)
        left = bins <= place
        if left.all() or not left.any():
            return np.inf
        return area(boxes[left]) * -(-left.sum() // 8) + area(boxes[~left]) * -(-(~left).sum() // 8)

    costs = {(a, p): cost(a, p) for a in range(3) for p in range(BINS - 1)}
    assert cost(axis, place) <= min(costs.values()) * (1.0 + 1e-9)
    assert low == middle[:, axis].min()
    assert 0 <= (middle[:, axis].max() - low) * scale < BINS


@given(seeds, st.integers(1, 80))
def test_the_binary_tree_parts_every_node_in_two(seed: int, n: int) -> None:
    boxes = random_boxes(np.random.default_rng(seed), n)
    order, node_box, left, begin, end = split_in_two(boxes)
    assert sorted(order) == list(range(n)) and len(left) == 2 * n - 1
    for node in range(len(left)):
        mine = order[begin[node] : end[node]]
        assert (node_box[node, :3] == boxes[mine, :3].min(axis=0)).all()
        assert (node_box[node, 3:] == boxes[mine, 3:].max(axis=0)).all()
        assert (left[node] < 0) == (len(mine) == 1)
        if left[node] >= 0:
            one, two = left[node], left[node] + 1
            assert begin[node] == begin[one] < end[one] == begin[two] < end[two] == end[node]


@given(seeds, st.integers(9, 60))
def test_no_folding_is_cheaper(seed: int, n: int) -> None:
    """The cost of what was chosen is that of the best of all rows of nodes and leaves, tried one by one."""
    order, node_box, left, begin, end = split_in_two(random_boxes(np.random.default_rng(seed), n))
    count = end - begin
    half = [area(box[None]) for box in node_box]

    @cache
    def best(node: int, row: int) -> float:
        """Least cost of a subtree as a row of at most so many nodes and leaves."""
        whole = half[node] * LEAF_COST if count[node] <= 8 else np.inf
        if left[node] < 0:
            return whole
        parts = [best(left[node], k) + best(left[node] + 1, row - k) for k in range(1, row)]
        if row == 1:
            inner = min(best(left[node], k) + best(left[node] + 1, 8 - k) for k in range(1, 8))
            return min(whole, half[node] * NODE_COST + inner)
        return min([best(node, row - 1), *parts])

    is_leaf, parted, to_left = cheapest_folds(node_box, left, count)
    children, _ = fold_to_eight(left, is_leaf, parted, to_left)
    entries = children[children >= 0]
    inner = [node for node in entries if not is_leaf[node]]
    assert len(inner) == len(children) - 1
    chosen = NODE_COST * sum(half[node] for node in inner) + LEAF_COST * sum(half[n] for n in entries if is_leaf[n])
    least = min(best(left[0], k) + best(left[0] + 1, 8 - k) for k in range(1, 8))
    assert abs(chosen - least) <= 1e-9 * least
    held = np.concatenate([order[begin[n] : end[n]] for n in entries if is_leaf[n]])
    assert sorted(held) == list(range(n)) and all(count[n] <= 8 for n in entries if is_leaf[n])


@given(seeds, st.integers(1, 60), st.sampled_from(BOX_COSTS))
def test_no_set_of_leaves_is_cheaper(seed: int, n: int, box_cost: float) -> None:
    order, node_box, left, begin, end = split_in_two(random_boxes(np.random.default_rng(seed), n))
    count = end - begin

    def best(node: int) -> float:
        own = area(node_box[node][None]) * LEAF_COST + area(node_box[0][None]) * box_cost
        own = own if count[node] <= 8 else np.inf
        return own if left[node] < 0 else min(own, best(left[node]) + best(left[node] + 1))

    leaves = np.flatnonzero(cut_to_leaves(node_box, left, count, box_cost))
    chosen = sum(area(node_box[k][None]) * LEAF_COST + area(node_box[0][None]) * box_cost for k in leaves)
    assert abs(chosen - best(0)) <= 1e-9 * best(0)
    assert sorted(np.concatenate([order[begin[k] : end[k]] for k in leaves])) == list(range(n))


@given(seeds)
def test_pairs_are_parallelograms_and_none_is_left(seed: int) -> None:
    """Rectangles, kites and single triangles of any order, winding and label; pairs found by comparing all with all."""
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(int(rng.integers(1, 8))):
        a, one, two = np.round(rng.uniform(-2.0, 2.0, (3, 3)) * 2.0**20) / 2.0**20
        far = a + one + two + (rng.normal(size=3) if rng.random() < 0.3 else 0.0)
        made += [[a, a + one, a + two], [a + one, far, a + two][:: rng.choice([-1, 1])]][: rng.integers(1, 3)]
    triangles = np.array([np.roll(three, rng.integers(3), axis=0) for three in made])[rng.permutation(len(made))]
    labels = rng.integers(0, 2, (len(triangles), 2)).astype(float)
    pieces, numbers = _pieces(triangles, labels, 4.0)

    def pair(i: int, j: int) -> bool:
        shared = [p for p in triangles[i] if (p == triangles[j]).all(axis=1).any()]
        tips = [[p for p in triangles[k] if not any((p == q).all() for q in shared)] for k in (i, j)]
        if len(shared) != 2 or (labels[i] != labels[j]).any():
            return False
        return np.abs(tips[0][0] + tips[1][0] - shared[0] - shared[1]).max() < 1e-12

    n = len(triangles)
    expected = {(i, j) for i in range(n) for j in range(i + 1, n) if pair(i, j)}
    assert {(int(i), int(j)) for i, j in numbers if i != j} == expected
    assert sorted(set(numbers.ravel())) == list(range(n)) and len(pieces) == n - len(expected)
    for piece, (i, _) in zip(pieces, numbers, strict=True):
        assert sorted(map(tuple, piece)) == sorted(map(tuple, triangles[i]))
