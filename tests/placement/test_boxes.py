"""Slanted boxes: overlap, points inside, and boxes made smaller."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.placement.solids import inside_box, share_space, shrunk, upright_box
from tests.placement.turning import random_rotation

CUBE = upright_box(np.array([1.0, 2.0, 1.0]), np.array([0.6, 0.2, 1.0]))


def test_an_upright_box_has_its_sizes() -> None:
    assert CUBE.min(axis=0) == pytest.approx([0.7, 1.9, 0.5])
    assert CUBE.max(axis=0) == pytest.approx([1.3, 2.1, 1.5])
    sides = [np.linalg.norm(CUBE[corner] - CUBE[0]) for corner in (1, 3, 4)]
    assert sides == pytest.approx([0.6, 0.2, 1.0])


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_boxes_share_space_when_points_of_one_lie_well_in_the_other(seed: int) -> None:
    """A slow twin: a lattice of points of one box tested one by one in the other."""
    random = np.random.default_rng(seed)
    boxes = []
    for _ in range(2):
        size = random.uniform(0.2, 1.0, 3)
        body = upright_box(np.zeros(3), size) @ random_rotation(random).T + random.uniform(-0.5, 0.5, 3)
        boxes.append(body)
    fractions = np.stack(np.meshgrid(*[np.linspace(0.0, 1.0, 25)] * 3), axis=-1).reshape(-1, 3)
    lattice = boxes[0][0] + fractions @ (boxes[0][[1, 3, 4]] - boxes[0][0])
    if inside_box(boxes[1], lattice, -0.01).any():
        assert share_space(*boxes) and share_space(boxes[1], boxes[0])
    if not inside_box(boxes[1], lattice, 0.05).any():
        assert not share_space(*boxes)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_shrunk_box_lies_inside_by_the_play_on_every_side(seed: int) -> None:
    turn = random_rotation(np.random.default_rng(seed))
    box = CUBE @ turn.T
    smaller = shrunk(box, 0.01)
    assert inside_box(box, smaller, -0.01 + 1e-9).all()
    assert not inside_box(box, smaller, -0.01 - 1e-6).any()
    assert np.linalg.norm(smaller[4] - smaller[0]) == pytest.approx(0.98)


def test_a_thin_box_keeps_a_fifth_of_its_depth() -> None:
    sheet = upright_box(np.zeros(3), np.array([1.0, 1.0, 0.002]))
    assert np.ptp(shrunk(sheet, 0.002), axis=0) == pytest.approx([0.996, 0.996, 0.0004])
