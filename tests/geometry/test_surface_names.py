"""Names after directions, and the distance by which a named point finds its surface."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.geometry.patches import compass_name, numbered
from sim.geometry.surface_names import distances

TRIANGLE = np.array([[[0.0, 0.0, 0.0], [3.0, 0.0, 1.0], [0.5, 2.0, 0.0]]])


@given(st.tuples(*[st.floats(-4.0, 5.0)] * 3))
def test_distance_to_a_triangle_agrees_with_a_fine_grid(place: tuple[float, float, float]) -> None:
    a, b, c = TRIANGLE[0]
    fractions = np.linspace(0.0, 1.0, 121)
    first, second = (grid.ravel() for grid in np.meshgrid(fractions, fractions))
    keep = first + second <= 1.0 + 1e-12
    grid = a + first[keep, None] * (b - a) + second[keep, None] * (c - a)
    twin = np.linalg.norm(grid - np.array(place), axis=1).min()
    found = distances(np.array(place), TRIANGLE)[0]
    # The grid can only be too far, by less than its own mesh width.
    assert found <= twin + 1e-12
    assert twin - found <= 3.2 / 120


@pytest.mark.parametrize(
    ("outward", "name"),
    [
        ((-1, 0.2, 0), "front wall"),
        ((1, 0.2, 0.5), "rear wall"),
        ((0.3, -1, 0), "left wall"),
        ((0, 1, 0), "right wall"),
        ((-1, -1, 0), "front wall"),
    ],
)
def test_walls_are_called_after_the_direction_they_lie_in(outward: tuple[float, ...], name: str) -> None:
    assert compass_name(np.array(outward)) == name


def test_the_largest_keeps_the_bare_name() -> None:
    assert numbered(["a", "b", "a", "a"], [1.0, 9.0, 3.0, 1.0]) == ["a 2", "b", "a", "a 3"]
