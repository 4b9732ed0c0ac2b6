"""Spreading mirror points over their zones, against a plain triple loop."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.propagation.surfaces.kernels import spread
from tests.naive import spread_slowly


@settings(max_examples=40)
@given(
    st.integers(0, 2**32 - 1), st.integers(1, 6), st.integers(1, 14), st.one_of(st.integers(1, 14), st.integers(30, 90))
)
def test_spread_is_the_sum_over_samples(seed: int, samples: int, rows: int, columns: int) -> None:
    rng = np.random.default_rng(seed)
    # long rows, in which zones are summed as polynomials, and short ones, cell by cell
    grid, origin = (0.1 if columns < 30 else 0.03), rng.uniform(-1.0, 1.0, 2)
    inside = np.full((rows, columns), -1, np.int64)
    kept = rng.random((rows, columns)) < 0.8
    inside[kept] = np.arange(int(kept.sum()))
    places = origin + np.argwhere(kept) * grid
    points = origin + rng.uniform(-0.5, 1.5, (samples, 2))
    angle = rng.uniform(0.0, 2.0 * np.pi, samples)
    ways = np.column_stack([np.cos(angle), np.sin(angle)])
    cosines, reach = rng.uniform(0.05, 1.0, samples), rng.uniform(0.1, 2.0, samples)
    energy, wavelengths = rng.uniform(-0.1, 1.0, (samples, 3)), np.array([0.7, 0.17, 0.02])
    total = np.zeros((3, int(kept.sum())))
    spread(points, ways, cosines, reach, energy, wavelengths, origin, grid, columns, inside, total)
    expected = spread_slowly(points, ways, cosines, reach, np.maximum(energy, 0.0), wavelengths, places)
    assert total == pytest.approx(expected, abs=1e-12)


def test_the_weight_is_one_in_the_middle_and_nothing_from_the_border_of_the_zone() -> None:
    inside = np.arange(21 * 21, dtype=np.int64).reshape(21, 21)
    total = np.zeros((1, 21 * 21))
    # zone of half-axes 0.4 across and 0.4/0.5 along the first direction
    spread(
        np.zeros((1, 2)),
        np.array([[1.0, 0.0]]),
        np.array([0.5]),
        np.array([0.16]),
        np.array([[2.0]]),
        np.array([1.0]),
        np.array([-1.0, -1.0]),
        0.1,
        21,
        inside,
        total,
    )
    grid = total.reshape(21, 21)
    assert grid[10, 10] == 2.0
    assert grid[10 + 7, 10] > 0.0 == grid[10 + 8, 10]
    assert grid[10, 10 + 3] > 0.0 == grid[10, 10 + 4]
    assert grid == pytest.approx(grid[::-1]) and grid == pytest.approx(grid[:, ::-1])
    assert (np.diff(grid[10:, 10]) <= 0.0).all()
