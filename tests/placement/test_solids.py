"""Convex solids against sums that take no account of faces: boxes along the axes, points tried one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.placement.solids import (
    depth_inside,
    drawn_in,
    fraction_within,
    is_enclosed,
    places_in,
    segments_through,
    shared_depth_m,
    upright_box,
)
from tests.geometry.furnished import box_patches

SEEDS = st.integers(0, 2**32 - 1)


def some_box(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    low = rng.uniform(-1.0, 1.0, 3)
    return low, low + rng.uniform(0.05, 1.5, 3)


def as_solid(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    return upright_box(0.5 * (low + high), high - low)


def turned(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    return np.linalg.qr(rng.normal(size=(3, 3)))[0], rng.uniform(-2.0, 2.0, 3)


@settings(max_examples=80, deadline=None)
@given(SEEDS)
def test_depths_are_those_of_boxes_however_both_are_turned_together(seed: int) -> None:
    rng = np.random.default_rng(seed)
    (low, high), (other_low, other_high) = some_box(rng), some_box(rng)
    turn, shift = turned(rng)
    one, other = (as_solid(*ends) @ turn.T + shift for ends in ((low, high), (other_low, other_high)))
    overlap = np.minimum(high - other_low, other_high - low)
    expected = float(overlap.min())
    found = shared_depth_m(one, other)
    assert (found > 0.0) == (expected > 0.0)
    if expected > 0.0:
        assert found == pytest.approx(expected, abs=1e-9)
    points = rng.uniform(-1.5, 2.5, (50, 3))
    depth = np.minimum(points - low, high - points).min(axis=1)
    assert depth_inside(one, points @ turn.T + shift) == pytest.approx(depth, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(SEEDS)
def test_a_solid_with_a_slanting_top_shares_space_only_where_points_do(seed: int) -> None:
    """A prism under a slope and a turned box: no point of one is in the other where they are said to be apart."""
    rng = np.random.default_rng(seed)
    low, high = some_box(rng)
    slope = as_solid(low, high)
    slope[4:6, 2] += rng.uniform(0.0, 0.5)
    turn, shift = turned(rng)
    other = as_solid(*some_box(rng)) @ turn.T + 0.3 * shift
    inside = (depth_inside(other, places_in(slope, rng.uniform(-1.0, 1.0, (3000, 3)))) > 0.0).any()
    if inside:
        assert shared_depth_m(slope, other) > 0.0
    if shared_depth_m(slope, other) <= 0.0:
        assert fraction_within(slope, (other,)) == 0.0


@settings(max_examples=40, deadline=None)
@given(SEEDS)
def test_segments_through_a_box_are_those_with_points_in_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    low, high = some_box(rng)
    solid, ends = as_solid(low, high), rng.uniform(-1.5, 2.5, (40, 2, 3))
    steps = np.linspace(0.0, 1.0, 4001)[:, None]
    for pair, through in zip(ends, segments_through(solid, ends), strict=True):
        points = pair[0] + steps * (pair[1] - pair[0])
        deepest = float(np.minimum(points - low, high - points).min(axis=1).max())
        assert through or deepest <= 0.0
        assert not through or deepest > -2e-3  # a stretch shorter than a step may be missed by the points


def test_drawn_in_by_so_much_but_never_inside_out() -> None:
    solid = as_solid(np.zeros(3), np.array([1.0, 2.0, 0.05]))
    assert drawn_in(solid, 0.02) == pytest.approx(
        as_solid(np.array([0.02, 0.02, 0.02]), np.array([0.98, 1.98, 0.03])), abs=1e-12
    )
    assert np.ptp(drawn_in(solid, 1.0), axis=0) == pytest.approx([0.2, 0.4, 0.01])


def test_enclosed_points_are_those_between_the_walls() -> None:
    patches = box_patches(np.zeros(3), np.array([5.0, 4.0, 2.6]), "room", inward=True)
    triangles = np.concatenate([patch.triangles for patch in patches])
    points = np.random.default_rng(3).uniform(-1.0, 6.0, (500, 3))
    expected = ((points > 0.0) & (points < [5.0, 4.0, 2.6])).all(axis=1)
    assert (is_enclosed(points, triangles) == expected).all()
    assert (is_enclosed(points, triangles[:, ::-1]) == expected).all()
