"""Triangles over the sphere, against looking at every one of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.loudspeakers.directivity_data import SphereTriangles
from tests.loudspeakers.sofa_writing import sphere_grid, unit_vectors

GRIDS = {step: unit_vectors(sphere_grid(step)) for step in (5.0, 15.0, 45.0)}
TRIANGLES = {step: SphereTriangles.between(grid) for step, grid in GRIDS.items()}
ways = st.tuples(*3 * [st.floats(-1.0, 1.0)]).filter(lambda v: sum(x * x for x in v) > 0.01)


@settings(deadline=None)
@given(way=ways, step=st.sampled_from(sorted(GRIDS)))
def test_the_triangle_met_has_the_direction_between_its_corners(way: tuple[float, float, float], step: float) -> None:
    direction = np.array(way) / np.linalg.norm(way)
    (corners,), (weights,) = TRIANGLES[step].around(direction[None])
    assert weights.min() >= 0.0
    assert weights.sum() == pytest.approx(1.0)
    between = weights @ GRIDS[step][corners]
    assert between / np.linalg.norm(between) == pytest.approx(direction, abs=1e-6)


@pytest.mark.parametrize("step", sorted(GRIDS))
def test_many_at_once_are_those_of_a_plain_loop(step: float) -> None:
    """Neighbours that share an edge or a corner may be told either way; what lies between is the same."""
    triangles, grid = TRIANGLES[step], GRIDS[step]
    directions = unit_vectors(np.random.default_rng(4).uniform(-180.0, 180.0, (200, 2)))
    corners, weights = triangles.around(directions)
    for direction, mine, fractions in zip(directions, corners, weights, strict=True):
        inside = [np.linalg.solve(grid[three].T, direction) for three in triangles.corners]
        best = int(np.argmax([each.min() for each in inside]))
        slow = inside[best] / inside[best].sum() @ grid[triangles.corners[best]]
        assert fractions @ grid[mine] == pytest.approx(slow, abs=1e-9)


def test_a_measured_direction_is_itself() -> None:
    corners, weights = TRIANGLES[5.0].around(GRIDS[5.0])
    assert corners[np.arange(len(corners)), weights.argmax(axis=1)].tolist() == list(range(len(GRIDS[5.0])))
    assert weights.max(axis=1) == pytest.approx(1.0)
