"""How a stack stands: by hand, by moments, and by turning the box corner by corner."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.studies.stand.pieces import read_piece
from sim.studies.stand.stack import Layer, Wish, rest_of, stack_of

WISH = Wish(
    axis_height_m=1.20, distance_m=1.2, width_m=0.18, height_m=0.29, depth_m=0.23, mass_kg=5.5, axis_in_cabinet_m=0.22
)


def slab(width: float, depth: float, height: float, kg: float, words: str = "slab") -> Layer:
    piece = read_piece(f"block {1000 * width:g}x{1000 * depth:g}x{1000 * height:g} {kg:g}kg")
    return Layer(piece, words, width, depth, height, 0.0, kg)


def test_one_column_by_hand() -> None:
    """A column 0.98 m high of 44.5 kg and a box of 5.5 kg: centre at (44.5 0.49 + 5.5 1.125) / 50 = 0.55985 m."""
    stack = stack_of([slab(0.30, 0.40, 0.98, 44.5)], WISH)
    assert stack.error_m == pytest.approx(0.0)
    assert stack.tilt_deg == pytest.approx(0.0)
    assert stack.mass_kg == pytest.approx(50.0)
    assert stack.centre_of_gravity_m == pytest.approx((0.0, 0.55985))
    assert stack.tips.forward_deg == stack.tips.rearward_deg == pytest.approx(math.degrees(math.atan(0.20 / 0.55985)))
    assert stack.tips.sideways_deg == pytest.approx(math.degrees(math.atan(0.15 / 0.55985)))
    assert stack.weakest == ("the floor", "the floor", "the floor")


def test_a_box_on_a_narrow_top_tips_there_first() -> None:
    """A batten 40 mm deep tips with its box over the slab: their centre is (5.5 0.225 + 0.1 0.04) / 5.6 m over it."""
    stack = stack_of([slab(0.5, 0.5, 0.90, 100.0), slab(0.3, 0.04, 0.08, 0.1, "batten")], WISH)
    assert stack.tips.forward_deg == pytest.approx(math.degrees(math.atan(0.02 / ((5.5 * 0.225 + 0.1 * 0.04) / 5.6))))
    assert stack.weakest[0] == "slab"


def test_an_offset_makes_one_way_easier_than_the_other() -> None:
    centred = stack_of([slab(0.2, 0.2, 0.98, 20.0)], WISH)
    shifted = stack_of([slab(0.2, 0.2, 0.98, 20.0)], replace(WISH, forward_m=0.05))
    assert shifted.tips.forward_deg < centred.tips.forward_deg < shifted.tips.rearward_deg
    assert shifted.centre_of_gravity_m[0] == pytest.approx(5.5 * 0.05 / 25.5)
    assert shifted.overhang_m == pytest.approx(0.05 + 0.115 - 0.10)


def test_a_box_beside_its_support_falls() -> None:
    stack = stack_of([slab(0.2, 0.2, 0.98, 20.0)], replace(WISH, forward_m=0.12))
    assert stack.tips.forward_deg < 0.0


def test_on_the_floor_the_box_stands_on_itself() -> None:
    stack = stack_of([], replace(WISH, axis_height_m=0.22))
    assert stack.tips.forward_deg == pytest.approx(math.degrees(math.atan(0.115 / 0.145)))
    assert stack.pieces == 0


@given(st.floats(-0.3, 0.3), st.floats(-0.06, 0.06), st.floats(0.10, 0.40), st.floats(0.5, 3.0))
def test_the_tilted_axis_points_at_the_ear(higher: float, forward: float, deep: float, distance: float) -> None:
    wish = replace(WISH, axis_height_m=1.2 - higher, forward_m=forward, distance_m=distance)
    stack = stack_of([slab(0.3, deep, 0.98, 30.0)], wish)
    rear, front, top, _ = stack.outline_m
    up = (top - front) / np.linalg.norm(top - front)
    axis = front + wish.axis_in_cabinet_m * up
    assert axis[1] == pytest.approx(stack.tilted_axis_height_m, abs=1e-9)
    along = (front - rear) / np.linalg.norm(front - rear)
    drop = wish.distance_m * -along[1] / along[0]
    assert axis[1] - drop == pytest.approx(wish.axis_height_m, abs=1e-6)
    assert np.linalg.norm(front - rear) == pytest.approx(wish.depth_m)


@given(
    st.lists(
        st.tuples(st.floats(0.1, 0.5), st.floats(0.1, 0.5), st.floats(0.05, 0.4), st.floats(0.5, 30.0)),
        min_size=1,
        max_size=4,
    ),
    st.floats(-0.05, 0.05),
)
def test_tip_angles_are_where_moments_change_sign(sizes: list[tuple[float, ...]], forward: float) -> None:
    """Lean the world by the angle that was told: about one joint the moment is zero, about the rest not yet."""
    layers = [slab(*size, words=f"slab {number}") for number, size in enumerate(sizes)]
    stack = stack_of(layers, replace(WISH, forward_m=forward, axis_height_m=sum(s[2] for s in sizes) + 0.22))
    bodies = [(0.0, sum(s[2] for s in sizes[:i]) + 0.5 * sizes[i][2], sizes[i][3]) for i in range(len(sizes))]
    bodies.append((*stack.outline_m.mean(axis=0), WISH.mass_kg))
    lean = math.radians(stack.tips.forward_deg)
    moments = []
    for joint in range(len(sizes) + 1):
        floor = sum(s[2] for s in sizes[:joint])
        edges = [0.5 * sizes[joint][1] if joint < len(sizes) else forward + 0.5 * WISH.depth_m]
        if joint:
            edges.append(0.5 * sizes[joint - 1][1])
        moments.append(
            sum(m * ((min(edges) - x) * math.cos(lean) - (z - floor) * math.sin(lean)) for x, z, m in bodies[joint:])
        )
    assert min(moments) == pytest.approx(0.0, abs=1e-9)


def test_what_a_box_rests_on() -> None:
    assert rest_of([slab(0.3, 0.2, 0.9, 1.0)], WISH) == pytest.approx((-0.10, 0.10))
    assert rest_of([slab(0.3, 0.4, 0.9, 1.0)], replace(WISH, forward_m=0.02)) == pytest.approx((-0.095, 0.135))


def test_a_stand_of_8_kg_with_a_box_of_7_kg() -> None:
    """Centres at 0.45 m and 1.15 m, 0.15 m from the edges: 0.77667 m up, 10.931 degrees each way."""
    wish = Wish(1.2, 1.5, 0.30, 0.50, 0.30, 7.0, 0.30)
    stack = stack_of([slab(0.30, 0.30, 0.90, 8.0)], wish)
    assert stack.centre_of_gravity_m == pytest.approx((0.0, 0.77667), abs=1e-5)
    assert (stack.tips.forward_deg, stack.tips.rearward_deg, stack.tips.sideways_deg) == pytest.approx(
        (10.931, 10.931, 10.931), abs=1e-3
    )
