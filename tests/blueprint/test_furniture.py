"""What a piece of furniture says of its own top, against the geometry that is built of it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.blueprint.furniture.block import Block
from sim.blueprint.furniture.desk import Desk
from sim.blueprint.furniture.screen import Screen
from sim.blueprint.furniture.sofa import Sofa
from sim.blueprint.records import Point
from sim.geometry.meshes import furniture_patches
from tests.built_scenes import NOWHERE

SPANS = st.tuples(st.floats(0.5, 2.0), st.floats(0.3, 1.5)).map(lambda pair: (pair[0], pair[0] + pair[1]))


def plate(depth: tuple[float, float], across: tuple[float, float], tilt: float, turn: float) -> Desk:
    return Desk(kind="desk", from_front=depth, from_left=across, top=2.0, tilt_deg=tilt, turn_deg=turn, thickness=0.02)


def top_of(piece: Desk | Block) -> np.ndarray:
    """Corners (4, 3) of the top as built: far left, far right, listener right, listener left."""
    patch = next(each for each in furniture_patches(piece, NOWHERE) if each.name.endswith(" top"))
    first, second = patch.triangles
    return np.array([second[2], second[1], first[1], first[0]])


@settings(max_examples=60, deadline=None)
@given(SPANS, SPANS, st.floats(-40.0, 40.0), st.floats(-180.0, 180.0), st.floats(0, 1), st.floats(0, 1))
def test_the_height_of_a_top_is_that_of_its_surface_wherever_it_is_turned(
    depth: tuple[float, float], across: tuple[float, float], tilt: float, turn: float, u: float, v: float
) -> None:
    """Any point of the built top, told in plan, has the height that the record gives; beside it nothing is covered."""
    desk = plate(depth, across, tilt, turn)
    corners = top_of(desk)
    point = corners[3] + u * (corners[0] - corners[3]) + v * (corners[2] - corners[3])
    assert desk.top_at(point[0], point[1]) == pytest.approx(point[2], abs=1e-9)
    assert desk.beyond_m(point[0], point[1]) <= 1e-9
    sideways = (corners[2] - corners[3])[:2] / np.linalg.norm((corners[2] - corners[3])[:2])
    outside = corners[2][:2] + 0.1 * sideways
    assert desk.beyond_m(*outside) == pytest.approx(0.1, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(SPANS, SPANS, st.floats(1.0, 40.0), st.floats(-180.0, 180.0))
def test_a_desk_tilts_about_its_listener_side_edge(
    depth: tuple[float, float], across: tuple[float, float], tilt: float, turn: float
) -> None:
    """Flat or tilted, both edges stand over the same lines of the floor; the near one stays, the far one rises."""
    flat, tilted = (top_of(plate(depth, across, each, turn)) for each in (0.0, tilt))
    assert tilted[2:] == pytest.approx(flat[2:], abs=1e-9)
    assert tilted[:2, :2] == pytest.approx(flat[:2, :2], abs=1e-9)
    rise = (depth[1] - depth[0]) * math.tan(math.radians(tilt))
    assert tilted[:2, 2] - flat[:2, 2] == pytest.approx([rise, rise], abs=1e-9)


def test_blocks_bear_at_one_height_and_the_others_bear_nothing() -> None:
    rack = Block(kind="rack", from_front=(1.0, 2.0), from_left=(1.0, 2.0), up=(0.0, 0.6), turn_deg=30.0)
    assert rack.top_at(1.9, 1.1) == rack.top_at(9.0, 9.0) == 0.6
    screen = Screen(kind="screen", at=Point(from_front=1.0, from_left=1.0, up=1.0), width=0.5, height=0.3)
    sofa = Sofa(kind="sofa", from_front=(1.0, 2.0), from_left=(1.0, 2.0))
    for piece in (screen, sofa):
        assert math.isnan(piece.top_at(1.0, 1.0))
        assert piece.beyond_m(1.0, 1.0) == math.inf
