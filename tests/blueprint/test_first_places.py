"""Places of a first scene: against sampling the plan point by point, and against the room that is built."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.blueprint.first_layout import laid_out
from sim.blueprint.first_places import along_wall, beam_block, ceiling_m, free_stretches, radiator_block
from sim.blueprint.first_room import FirstBeam, FirstRadiator, FirstRoom, FirstSlope
from sim.blueprint.reader import parse_scene
from sim.blueprint.template import first_scene
from sim.errors import SceneError
from sim.geometry.outlines import faces_over_plan

BAY = (
    ("front wall", 0.0, 0.8),
    ("right wall 2", 0.0, 3.2),
    ("right wall", 0.8, 4.0),
    ("rear wall", 4.5, 4.0),
    ("left wall", 4.5, 0.0),
    ("left wall 2", 0.8, 0.0),
)
SLOPED = FirstRoom(4.0, 4.5, 2.5, slopes=(FirstSlope("left", 1.0, 1.5), FirstSlope("rear", 1.4, 1.0)), walls=BAY)


@settings(max_examples=40, deadline=None)
@given(axis=st.integers(0, 1), at=st.floats(0.01, 3.99), height=st.floats(0.5, 2.49))
def test_free_stretches_are_where_a_walk_across_the_plan_finds_them(axis: int, at: float, height: float) -> None:
    plan = shapely.Polygon([(ahead, across) for _, ahead, across in BAY])

    def free(along: float) -> bool:
        place = (along, at) if axis == 0 else (at, along)
        return bool(plan.contains(shapely.Point(place))) and ceiling_m(SLOPED, *place) >= height

    stretches = free_stretches(SLOPED, axis, at, height)
    for along in np.linspace(-0.1, 4.6, 95):
        near = any(abs(along - end) < 0.01 for stretch in stretches for end in stretch)
        assert near or free(along) == any(low < along < high for low, high in stretches)


def test_the_ceiling_is_that_of_the_room_that_is_built() -> None:
    """Corners of the faces that the scene file gives lie at the height told here."""
    blueprint = parse_scene(first_scene(SLOPED, title="t"), Path("nowhere")).blueprint
    for face in faces_over_plan(blueprint.room):
        if face.group == "ceiling":
            for part in face.region:
                for ahead, across, up in face.lifted(np.asarray(part.exterior.coords)[:, :2]):
                    assert ceiling_m(SLOPED, ahead, across) == pytest.approx(up, abs=2e-3)


def test_lengths_along_a_wall_count_from_its_front_end_or_from_the_walls_of_a_box() -> None:
    box = FirstRoom(4.0, 4.5, 2.5, corner=("front right", 1.0, 1.0))
    assert along_wall(box, "right", (2.0, 3.0)) == ("from_front", (2.0, 3.0)), "from the front wall of the box"
    assert along_wall(SLOPED, "right", (1.0, 2.0)) == ("from_front", pytest.approx((1.8, 2.8))), "from corner C"
    key, span = along_wall(SLOPED, "right 2", (0.0, math.sqrt(2.0) * 0.8))
    assert (key, span) in (("from_left", pytest.approx((3.2, 4.0))), ("from_front", pytest.approx((0.0, 0.8))))


@pytest.mark.parametrize("side", ["front", "right 2", "right", "rear", "left", "left 2"])
def test_a_radiator_stands_inside_before_its_wall(side: str) -> None:
    room = FirstRoom(4.0, 4.5, 2.5, walls=BAY)
    block = radiator_block(room, FirstRadiator(side, (0.2, 0.8), (0.1, 0.7), 0.12))
    box = shapely.box(block.from_front_m[0], block.from_left_m[0], block.from_front_m[1], block.from_left_m[1])
    turned = shapely.affinity.rotate(box, block.turn_deg)  # counter-clockwise from above in these axes
    plan = shapely.Polygon([(ahead, across) for _, ahead, across in BAY])
    assert turned.area == pytest.approx(0.6 * 0.12, rel=1e-6)
    assert plan.buffer(1e-3).covers(turned)
    _, start, end = room.wall(side)
    wall = shapely.LineString([start, end])
    assert turned.intersection(wall.buffer(2e-3)).length > 2 * 0.59, "its back lies along the wall"


def test_beams_end_where_a_slope_is_as_high_as_they_are() -> None:
    attic = FirstRoom(4.6, 5.4, 2.4, slopes=(FirstSlope("left", 0.9, 1.5), FirstSlope("right", 0.9, 1.5)))
    block = beam_block(attic, FirstBeam("across", (2.0, 2.2), 2.1))
    assert block.from_left_m == pytest.approx((1.5, 3.1)) and block.up_m == (2.1, 2.4)
    low = beam_block(attic, FirstBeam("across", (2.0, 2.2), 1.5, 1.65))
    assert low.from_left_m == pytest.approx((0.75, 3.85)), "half way up the slope"
    ridge = FirstRoom(4.6, 5.4, 2.4, slopes=(FirstSlope("left", 0.9, 2.3), FirstSlope("right", 0.9, 2.3)))
    along = beam_block(ridge, FirstBeam("along", (2.2, 2.4), 2.0))
    assert along.from_front_m == pytest.approx((0.0, 5.4))
    assert along.up_m[1] == pytest.approx(2.4 - 0.1 * 1.5 / 2.3, abs=3e-3), "as high as both of its faces allow"
    with pytest.raises(SceneError, match="no room is below the ceiling"):
        beam_block(attic, FirstBeam("along", (0.1, 0.2), 1.4))


@settings(max_examples=40, deadline=None)
@given(
    width=st.floats(3.0, 6.0),
    depth=st.floats(3.0, 7.0),
    cut=st.floats(0.1, 0.8),
    on=st.sampled_from(["stands", "desk", "built in"]),
)
def test_in_any_outline_monitors_desk_and_seat_have_a_place_inside(
    width: float, depth: float, cut: float, on: str
) -> None:
    walls = (
        ("front wall", 0.0, cut),
        ("right wall", 0.0, width),
        ("rear wall", depth, width),
        ("left wall", depth, 0.0),
        ("left wall 2", cut, 0.0),
    )
    room = FirstRoom(width, depth, 2.5, monitors_on=on, walls=walls)
    layout = laid_out(room)
    plan = shapely.Polygon([(ahead, across) for _, ahead, across in room.outline()])
    for sign in (-1.0, 1.0):
        assert plan.contains(shapely.Point(layout.front, layout.middle + sign * layout.half_base))
        assert plan.contains(shapely.Point(layout.desk[1], layout.middle + sign * layout.desk_half))
    assert plan.contains(shapely.Point(layout.ear, layout.middle))
