"""Eight rays made ready together against the same rays one by one, to the last bit."""

from __future__ import annotations

import numba as nb
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.rays.few_leaf_kernels import nearest_of_eight
from sim.rays.ray_kernels import addresses_of, nearest_but
from sim.rays.wide_tree import build_tree
from tests.rays.ray_rooms import meet_slowly
from tests.rays.test_eight_kernels import look_of

seeds = st.integers(0, 2**32 - 1)


@nb.njit
def together(rows, limits, passed, count, t_min, t, triangle, rays):  # type: ignore[no-untyped-def]
    at, planes = rows.ctypes.data, passed.ctypes.data
    return nearest_of_eight(
        addresses_of(*rays),
        count,
        ((at, at + 64, at + 128), (at + 192, at + 256, at + 320)),
        t_min,
        limits.ctypes.data,
        (planes, planes + 64),
        t.ctypes.data,
        triangle.ctypes.data,
    )


@nb.njit
def alone(ray, limit, passed, t_min, rays):  # type: ignore[no-untyped-def]
    x, y, z, dx, dy, dz = ray
    return nearest_but(addresses_of(*rays), x, y, z, dx, dy, dz, t_min, limit, passed[0], passed[1], -1)


@given(seeds, st.integers(1, 8), st.integers(3, 150))
def test_eight_rays_meet_what_each_meets_alone(seed: int, count: int, triangles: int) -> None:
    rng = np.random.default_rng(seed)
    corners = rng.uniform(-3.0, 3.0, (triangles, 1, 3)) + rng.normal(0.0, 0.7, (triangles, 3, 3))
    plane, owner = rng.integers(0, 20, triangles), np.zeros(triangles, np.int64)
    tree = build_tree(corners, plane, owner)
    assert tree.frame[7] > 0.0
    rays = (tree.arrays, corners, plane, owner)
    reach = rng.choice([1.0, 1.0, 1.0, 1.5], 8)
    starts = tree.frame[:3] + reach[:, None] * rng.uniform(-1.0, 1.0, (8, 3)) * tree.frame[3:6]
    rows = np.ascontiguousarray(np.column_stack([starts, [look_of(rng) for _ in range(8)]]).T)
    limits, passed = rng.choice([np.inf, 1.0, 0.1], 8), rng.integers(-1, 20, (2, 8))
    t_min = float(rng.choice([0.0, -1e-9, 0.05]))
    t, triangle = np.full(8, 7.0), np.full(8, 7)
    outside = together(rows, limits, passed, count, t_min, t, triangle, rays)
    beyond = (np.abs(starts - tree.frame[:3]) > tree.frame[3:6]).any(axis=1)
    assert outside == sum(1 << k for k in range(count) if beyond[k])
    for k in range(8):
        if k >= count or beyond[k]:
            assert (t[k], triangle[k]) == (7.0, 7)  # left as it was
        else:
            assert (t[k], triangle[k]) == alone(tuple(rows[:, k].tolist()), limits[k], passed[:, k], t_min, rays)


def test_a_ray_of_eight_meets_the_triangle_before_it() -> None:
    corners = np.array([[[0.0, 0, 1], [2, 0, 1], [0, 2, 1]], [[0.0, 0, -3], [2, 0, -3], [0, 2, -3]]])
    none = np.zeros(2, np.int64)
    rows = np.zeros((6, 8))
    rows[0], rows[1] = np.linspace(0.1, 0.8, 8), 0.3
    rows[5] = [1.0, -1.0] * 4
    t, triangle = np.zeros(8), np.zeros(8, np.int64)
    limits, passed = np.full(8, np.inf), np.full((2, 8), -1)
    outside = together(rows, limits, passed, 8, 0.0, t, triangle, (build_tree(corners).arrays, corners, none, none))
    assert outside == 0 and triangle.tolist() == [0, 1] * 4
    for k in range(8):
        assert t[k] == pytest.approx(meet_slowly(*rows[:, k], *corners[triangle[k]])[0], rel=1e-12)
