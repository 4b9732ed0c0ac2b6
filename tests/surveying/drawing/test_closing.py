"""Closed outlines of invented plans: cut, shuffled, moved apart, crossed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.surveying.drawing.closing import closed_outlines
from tests.geometry.furnished import star_outline
from tests.surveying.drawing.plan_files import L_AREA_M2, L_ROOM


def sides(corners: np.ndarray) -> np.ndarray:
    return np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)


def shoelace_m2(corners: np.ndarray) -> float:
    """Area by the surveyor's formula."""
    x, y = corners.T
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


@given(st.integers(0, 2**32 - 1), st.integers(4, 9), st.booleans())
@settings(max_examples=40)
def test_lines_in_any_order_and_sense_close_the_outline(seed: int, count: int, cut: bool) -> None:
    rng = np.random.default_rng(seed)
    corners = star_outline(rng, count, convex=True)
    lines = sides(corners)
    if cut:  # every side in two pieces
        middle = lines.mean(axis=1, keepdims=True)
        lines = np.concatenate([np.hstack([lines[:, :1], middle]), np.hstack([middle, lines[:, 1:]])])
    turned = rng.random(len(lines)) < 0.5
    lines[turned] = lines[turned][:, ::-1]
    closed = closed_outlines(lines[rng.permutation(len(lines))])
    (outline,) = closed.outlines
    assert outline.area_m2 == pytest.approx(shoelace_m2(corners), rel=1e-9)
    away = np.linalg.norm(outline.corners[:, None] - corners[None], axis=2)
    assert len(outline.corners) == count
    np.testing.assert_allclose(away.min(axis=0), 0.0, atol=1e-9)
    assert not closed.joined and not closed.open and not len(outline.crossings)


def test_corners_run_counter_clockwise_from_the_upper_left() -> None:
    (outline,) = closed_outlines(sides(np.array(L_ROOM))[::-1]).outlines
    np.testing.assert_allclose(outline.corners, [L_ROOM[5], L_ROOM[0], *L_ROOM[1:5]])
    np.testing.assert_allclose(outline.lengths_m, [4.4, 5.2, 2.6, 1.6, 1.8, 3.6])


@pytest.mark.parametrize("short_m", [0.002, -0.002])
def test_corners_that_miss_each_other_a_little_meet_where_their_lines_do(short_m: float) -> None:
    """Every line too short, or too long, by 2 mm at both ends: the outline is the same to the micrometre."""
    lines = sides(np.array(L_ROOM))
    along = (lines[:, 1] - lines[:, 0]) / np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1)[:, None]
    lines = np.stack([lines[:, 0] + short_m * along, lines[:, 1] - short_m * along], axis=1)
    (outline,) = closed_outlines(lines, 0.005).outlines
    np.testing.assert_allclose(outline.corners, [L_ROOM[5], L_ROOM[0], *L_ROOM[1:5]], atol=1e-6)
    assert not len(outline.crossings)
    if short_m > 0.0:
        strict = closed_outlines(lines, 0.001)
        assert not strict.outlines
        assert [gap.gap_m for gap in strict.open] == pytest.approx([short_m * np.sqrt(2.0)] * 6)


def door() -> np.ndarray:
    """The L-shape with 0.9 m of its lower wall missing from 1.0 m on."""
    lines = sides(np.array(L_ROOM))
    return np.concatenate([[[[0.0, 0.0], [1.0, 0.0]], [[1.9, 0.0], [5.2, 0.0]]], lines[1:]])


def test_a_door_is_a_gap_that_is_only_closed_when_asked() -> None:
    closed = closed_outlines(door())
    assert closed.outlines == ()
    (gap,) = closed.open
    assert gap.gap_m == pytest.approx(0.9)
    np.testing.assert_allclose(np.sort(gap.ends[:, 0]), [1.0, 1.9])
    bridged = closed_outlines(door(), bridge=True)
    assert bridged.outlines[0].area_m2 == pytest.approx(L_AREA_M2)
    assert [each.gap_m for each in bridged.joined] == pytest.approx([0.9])


def test_two_rooms_that_share_a_wall_are_two_outlines() -> None:
    lines = np.concatenate(
        [sides(np.array([[0.0, 0.0], [7.0, 0.0], [7.0, 3.0], [0.0, 3.0]])), [[[3.0, 0.0], [3.0, 3.0]]]]
    )
    closed = closed_outlines(lines)
    assert [one.area_m2 for one in closed.outlines] == pytest.approx([12.0, 9.0])
    assert closed.open == ()


def test_walls_of_two_lines_are_told_from_rooms() -> None:
    inner = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]])
    outer = np.array([[-0.2, -0.2], [4.2, -0.2], [4.2, 3.2], [-0.2, 3.2]])
    closed = closed_outlines(np.concatenate([sides(inner), sides(outer)]))
    assert [one.area_m2 for one in closed.outlines] == pytest.approx([4.4 * 3.4, 12.0])
    assert not any(one.is_wall for one in closed.outlines)
    body = np.array([[0.0, 0.0], [8.0, 0.0], [8.0, 0.2], [0.2, 0.2], [0.2, 4.0], [0.0, 4.0]])
    (wall,) = closed_outlines(sides(body)).outlines
    assert wall.is_wall


def test_an_outline_that_crosses_itself_says_where() -> None:
    bow = np.array([[0.0, 0.0], [4.0, 4.0], [4.0, 0.0], [0.0, 4.0]])
    outlines = closed_outlines(sides(bow)).outlines
    assert len(outlines) == 2
    for one in outlines:
        np.testing.assert_allclose(one.crossings, [[2.0, 2.0]], atol=1e-9)
