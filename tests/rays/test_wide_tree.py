"""The tree: it holds everything once, inside its boxes, and is the same each time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.rays.shape_kernels import nearest_hit
from sim.rays.wide_tree import DEEPEST, FLAT_LEAVES, WideTree, build_tree
from tests.geometry.furnished import furnished_room

seeds = st.integers(0, 2**32 - 1)


def soup(rng: np.random.Generator, n: int) -> np.ndarray:
    middle = rng.uniform(-2.0, 2.0, (n, 1, 3))
    return middle + rng.normal(0.0, 1.0, (n, 3, 3)) * rng.uniform(0.05, 1.0, (n, 1, 1))


def blocks_of(seed: int, pieces: int) -> np.ndarray:
    return np.concatenate([patch.triangles for patch in furnished_room(np.random.default_rng(seed), pieces)])


def numbers_in(tree: WideTree, leaf: int) -> np.ndarray:
    """Triangle numbers (8, 2) of one leaf, -1 where it is empty."""
    return np.ascontiguousarray(tree.leaves[leaf, 15]).view(np.int32).reshape(8, 2)


def inside(tree: WideTree, triangles: np.ndarray, node: int, depth: int = 1) -> tuple[list[int], int]:
    """Triangles under a node, each checked to lie in all boxes above it, and the depth below."""
    found: list[int] = []
    deepest = depth
    codes = np.ascontiguousarray(tree.nodes[node, 6]).view(np.int32)
    for k in range(tree.nodes.shape[2]):
        low, high = tree.nodes[node, :3, k].astype(float), tree.nodes[node, 3:6, k].astype(float)
        if (low > high).all():
            continue
        if codes[k] < 0:
            mine = sorted(set(numbers_in(tree, -1 - codes[k]).ravel()) - {-1})
        else:
            mine, below = inside(tree, triangles, codes[k], depth + 1)
            deepest = max(deepest, below)
        corners = triangles[mine].reshape(-1, 3) - tree.frame[:3]
        assert (corners >= low).all() and (corners <= high).all()
        found += mine
    return found, deepest


def held(tree: WideTree, triangles: np.ndarray) -> list[int]:
    """Numbers of all triangles, each checked to lie in every box about it."""
    found = list(set(numbers_in(tree, 0).ravel()) - {-1})
    for node in range(max(1, int(tree.frame[7]))):
        below, depth = inside(tree, triangles, node)
        found += below
        assert depth <= (1 if tree.frame[7] else DEEPEST)
    return sorted(found)


@given(seeds, st.integers(1, 200) | st.integers(500, 700))
def test_it_holds_every_triangle_once_and_inside_its_boxes(seed: int, n: int) -> None:
    triangles = soup(np.random.default_rng(seed), n)
    assert held(build_tree(triangles), triangles) == list(range(n))


def test_few_leaves_stand_side_by_side_and_many_in_levels() -> None:
    few, many = build_tree(blocks_of(3, 20)), build_tree(blocks_of(3, 120))
    assert few.frame[7] == len(few.nodes) <= 4 and many.frame[7] == 0
    assert few.nodes.shape[2] == 16 and many.nodes.shape[2] == 8
    codes = np.ascontiguousarray(few.nodes[:, 6]).view(np.int32).ravel()[: len(few.leaves) - 1]
    assert (codes == -2 - np.arange(len(codes))).all()


def test_a_room_that_fits_without_levels_has_none() -> None:
    """By the cheapest cut this one would have too many leaves."""
    triangles = blocks_of(3, 60)
    tree = build_tree(triangles)
    assert 50 < len(tree.leaves) <= FLAT_LEAVES + 1 and tree.frame[7] == 4
    assert held(tree, triangles) == list(range(len(triangles)))


def test_two_halves_of_a_rectangle_become_one_surface() -> None:
    triangles = blocks_of(3, 9)
    tree = build_tree(triangles)
    assert held(tree, triangles) == list(range(len(triangles)))
    surfaces = [pair for leaf in range(len(tree.leaves)) for pair in numbers_in(tree, leaf) if pair[0] >= 0]
    assert len(surfaces) == len(triangles) // 2
    for one, two in surfaces:
        both = np.unique(triangles[[one, two]].reshape(-1, 3), axis=0)
        assert one != two and len(both) == 4


def test_neighbours_that_make_no_parallelogram_stay_apart() -> None:
    kite = np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]], [[1.0, 0, 0], [2, 2, 0], [0, 1, 0]]])
    folded = np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]], [[1.0, 0, 0], [1, 1, 1e-6], [0, 1, 0]]])
    for triangles in (kite, folded):
        numbers = numbers_in(build_tree(triangles), 0)
        assert sorted(map(tuple, numbers[numbers[:, 0] >= 0])) == [(0, 0), (1, 1)]


def test_the_largest_surfaces_come_first() -> None:
    triangles = blocks_of(5, 20)
    first = set(numbers_in(build_tree(triangles), 0).ravel())
    assert set(range(12)) <= first  # the first twelve triangles are the six walls


def test_it_is_the_same_each_time_and_cannot_be_written_to() -> None:
    triangles = blocks_of(7, 30)
    one, two = build_tree(triangles), build_tree(triangles.copy())
    for mine, other in zip(one.arrays, two.arrays, strict=True):
        assert mine.tobytes() == other.tobytes()
        assert mine.ctypes.data % 8 == 0
        with pytest.raises(ValueError, match="read-only"):
            mine[0] = 0
    assert one.nodes.ctypes.data % 64 == 0 and one.leaves.ctypes.data % 64 == 0


def test_triangles_without_area_are_left_out() -> None:
    point, line = np.zeros((3, 3)), np.array([[0.0, 0, 0], [1, 1, 1], [2, 2, 2]])
    whole = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    triangles = np.stack([point, whole, line])
    assert held(build_tree(triangles), triangles) == [1]


@pytest.mark.parametrize("step", [0.0, 1e-13])
def test_many_equal_triangles_do_not_break_the_tree(step: float) -> None:
    """All middles fall together, or almost: the splits cannot part them, and the tree must still end."""
    one = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    triangles = one + step * np.arange(300)[:, None, None]
    tree = build_tree(triangles)
    assert held(tree, triangles) == list(range(300))
    none = np.zeros(300, np.int64)
    t, found = nearest_hit(
        np.array([0.2, 0.2, 1.0]),
        np.array([0.0, 0.0, -1.0]),
        0.0,
        np.inf,
        -1,
        -1,
        -1,
        tree.arrays,
        triangles,
        none,
        none,
    )
    assert t == pytest.approx(1.0, abs=1e-10) and 0 <= found < 300


def test_sizes_that_double_do_not_grow_a_deep_tree() -> None:
    """Each split by cost would cut off one triangle; the number of levels must stay within the stack."""
    one = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.5]])
    triangles = one * 2.0 ** -np.linspace(0.0, 45.0, 3000)[:, None, None]
    assert held(build_tree(triangles), triangles) == list(range(3000))
