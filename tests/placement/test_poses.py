"""Where loudspeakers stand and how they are turned."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.placement.poses import CABINET_MATERIAL, PlacedLoudspeaker, aim_angles, place, rotation_of
from sim.placement.supports import support_top_m
from tests.built_scenes import blueprint_of, box, desk, loudspeaker

EAR = (2.4, 2.0, 1.2)
ROOM = box(5.0, 4.0, 2.6)
angle = st.floats(-170.0, 170.0)


def placed(record: dict[str, Any], **more: Any) -> PlacedLoudspeaker:
    blueprint = blueprint_of(ROOM, [record], EAR, **more)
    only = blueprint.loudspeakers[0]
    return place(blueprint, only, support_top_m(blueprint, 0, only))


def test_directions_without_any_turn() -> None:
    """Forward is rearward in the room, right is right as seen from the seat, up is up."""
    assert rotation_of(0.0, 0.0, 0.0) == pytest.approx(np.eye(3))


@pytest.mark.parametrize(
    ("turn", "tilt", "roll", "forward", "right", "up"),
    [
        (90.0, 0.0, 0.0, (0, 1, 0), (-1, 0, 0), (0, 0, 1)),
        (0.0, 90.0, 0.0, (0, 0, -1), (0, 1, 0), (1, 0, 0)),
        (0.0, 0.0, 90.0, (1, 0, 0), (0, 0, -1), (0, 1, 0)),  # the top turns to the seat's right
        (0.0, 0.0, -90.0, (1, 0, 0), (0, 0, 1), (0, -1, 0)),
        (0.0, 0.0, 180.0, (1, 0, 0), (0, -1, 0), (0, 0, -1)),
    ],
)
def test_quarter_turns(
    turn: float, tilt: float, roll: float, forward: tuple[int, ...], right: tuple[int, ...], up: tuple[int, ...]
) -> None:
    assert pytest.approx(np.array([forward, right, up], dtype=float), abs=1e-12) == rotation_of(turn, tilt, roll).T


@given(angle, angle, angle)
def test_a_turn_is_a_rotation_and_roll_leaves_the_axis_alone(turn: float, tilt: float, roll: float) -> None:
    rotation = rotation_of(turn, tilt, roll)
    assert rotation @ rotation.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(rotation) == pytest.approx(1.0)
    assert rotation[:, 0] == pytest.approx(rotation_of(turn, tilt, 0.0)[:, 0], abs=1e-12)
    quarter = rotation
    for _ in range(4):
        quarter = quarter @ rotation_of(0.0, 0.0, 90.0)
    assert quarter == pytest.approx(rotation, abs=1e-12)


@given(angle, angle, angle, angle)
def test_rolls_add_up_and_come_back(turn: float, tilt: float, one: float, other: float) -> None:
    """Rolls about the axis are a group: one after the other is their sum, and each has its opposite."""
    rolled = rotation_of(turn, tilt, one) @ rotation_of(0.0, 0.0, other)
    assert rolled == pytest.approx(rotation_of(turn, tilt, one + other), abs=1e-12)
    assert rolled @ rotation_of(0.0, 0.0, -other) == pytest.approx(rotation_of(turn, tilt, one), abs=1e-12)


@given(angle, angle, angle)
def test_a_mirrored_pose_is_the_mirror_image(turn: float, tilt: float, roll: float) -> None:
    """Left and right exchanged in the room and in the box: turn and roll change their sign, tilt does not."""
    mirror = np.diag([1.0, -1.0, 1.0])
    assert mirror @ rotation_of(turn, tilt, roll) @ mirror == pytest.approx(rotation_of(-turn, tilt, -roll), abs=1e-12)


@given(st.floats(-2.0, 2.0), st.floats(-2.0, 2.0), st.floats(-1.0, 1.0).filter(lambda up: abs(up) > 1e-3), angle)
def test_aimed_at_a_point_the_axis_meets_it(depth: float, across: float, up: float, roll: float) -> None:
    target = np.array([depth, across, up])
    turn, tilt = aim_angles(np.zeros(3), target)
    assert rotation_of(turn, tilt, roll)[:, 0] == pytest.approx(target / np.linalg.norm(target), abs=1e-9)


def test_toe_in_turns_both_toward_the_centre_line() -> None:
    for across, inward in ((1.0, 1.0), (3.0, -1.0)):
        one = placed(loudspeaker((0.8, across, 1.2), "x", toe_in_deg=20.0))
        assert one.rotation[1, 0] * inward == pytest.approx(np.sin(np.radians(20.0)))
        assert one.side == ("left" if inward > 0 else "right")
        assert one.toe_in_deg == 20.0
        aimed = placed(loudspeaker((0.8, across, 1.2), "x", toe_in_deg="ear"))
        assert aimed.toe_in_deg == pytest.approx(np.degrees(np.arctan2(1.0, 1.6)))
        assert np.cross(aimed.rotation[:, 0], np.array(EAR) - aimed.axis_point) == pytest.approx(0.0, abs=1e-12)


def test_positive_tilt_looks_down() -> None:
    assert placed(loudspeaker((0.8, 1.0, 1.5), tilt_deg=10.0)).rotation[2, 0] == pytest.approx(
        -np.sin(np.radians(10.0))
    )
    aimed = placed(loudspeaker((0.8, 1.0, 1.5), tilt_deg="ear"))
    assert aimed.tilt_deg == pytest.approx(np.degrees(np.arctan2(0.3, np.hypot(1.6, 1.0))))
    assert placed(loudspeaker((0.8, 1.0, 0.9), tilt_deg="ear")).tilt_deg < 0.0


def test_aimed_behind_the_head_the_axis_crosses_there() -> None:
    one = placed(loudspeaker((0.8, 1.0, 1.2), toe_in_deg="ear", aim_behind=0.4))
    way = np.array(EAR) - one.axis_point
    behind = np.array(EAR) + 0.4 * way / np.linalg.norm(way)
    assert np.cross(one.rotation[:, 0], behind - one.axis_point) == pytest.approx(0.0, abs=1e-9)


def test_one_in_the_middle_has_no_inside() -> None:
    one = placed(loudspeaker((0.8, 2.0, 1.2), toe_in_deg="ear"))
    assert (one.side, one.toe_in_deg) == ("centre", 0.0)


DESK = {"furniture": [desk((0.5, 1.2), (0.5, 3.5), 0.74)]}


@pytest.mark.parametrize(
    ("more", "height"),
    [
        # a 0.29 m box whose tweeter sits 0.07 m below its top
        ({}, 0.74 + 0.22),
        ({"pad": 0.06}, 0.74 + 0.06 + 0.22),
        ({"roll": "inverted"}, 0.74 + 0.07),
        ({"roll": "on its left side"}, 0.74 + 0.09),
        ({"roll": "on its right side", "pad": 0.02}, 0.74 + 0.02 + 0.09),
        # tilted back by 10 degrees about the axis point: the lowest is the rear lower edge, 0.23 behind
        ({"tilt_deg": -10.0}, 0.74 + 0.22 * np.cos(np.radians(10.0)) + 0.23 * np.sin(np.radians(10.0))),
        ({"tilt_deg": 10.0}, 0.74 + 0.22 * np.cos(np.radians(10.0))),
    ],
)
def test_height_follows_from_what_it_stands_on(more: dict[str, Any], height: float) -> None:
    one = placed(loudspeaker((0.9, 1.2, None), model="two-way", standing="desk", **more), **DESK)
    assert one.axis_point[2] == pytest.approx(height, abs=1e-9)
    assert one.corners is not None
    assert one.corners[:, 2].min() == pytest.approx(0.74 + more.get("pad", 0.0), abs=1e-9)


def test_aimed_at_the_ear_from_a_desk_height_and_tilt_agree() -> None:
    one = placed(loudspeaker((0.9, 1.2, None), model="two-way", standing="desk", tilt_deg="ear"), **DESK)
    assert np.cross(one.rotation[:, 0], np.array(EAR) - one.axis_point) == pytest.approx(0.0, abs=1e-6)
    assert one.corners is not None
    assert one.corners[:, 2].min() == pytest.approx(0.74, abs=1e-6)


def test_on_a_stand_the_height_is_that_of_its_plate() -> None:
    one = placed(loudspeaker((0.9, 1.2, None), model="two-way", standing="stand", stand_height=0.95, pad=0.01))
    assert one.axis_point[2] == pytest.approx(0.95 + 0.01 + 0.22)


def test_drivers_turn_with_the_box() -> None:
    upright = placed(loudspeaker((0.9, 1.2, 1.1), model="two-way", toe_in_deg=0.0))
    names = [driver.name for driver in upright.model.drivers]
    offsets = dict(zip(names, upright.driver_points - upright.axis_point, strict=True))
    assert offsets["tweeter"] == pytest.approx(0.0, abs=1e-12)
    assert offsets["woofer"] == pytest.approx([0.0, 0.0, -0.15])
    lying = placed(loudspeaker((0.9, 1.2, 1.1), model="two-way", toe_in_deg=0.0, roll="on its right side"))
    # the top is on the right, so the woofer is to the left of the tweeter
    assert (lying.driver_points - lying.axis_point)[names.index("woofer")] == pytest.approx(
        [0.0, -0.15, 0.0], abs=1e-12
    )


def test_the_box_is_closed_and_looks_outward() -> None:
    one = placed(loudspeaker((0.9, 1.2, 1.1), model="two-way", tilt_deg=8.0, roll=30.0))
    patches = one.patches()
    assert {patch.owner for patch in patches} == {"left loudspeaker"} == {one.body}
    assert {patch.material for patch in patches} == {CABINET_MATERIAL}
    a, b, c = np.moveaxis(np.concatenate([patch.triangles for patch in patches]), 1, 0)
    assert np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0 == pytest.approx(0.18 * 0.29 * 0.23)
    baffle = next(patch for patch in patches if patch.name == "left loudspeaker baffle")
    normal = np.cross(*np.diff(baffle.triangles[0], axis=0))
    assert normal / np.linalg.norm(normal) == pytest.approx(one.rotation[:, 0])
    assert placed(loudspeaker((0.9, 1.2, 1.1))).patches() == ()
    assert placed(loudspeaker((0.9, 1.2, 1.1))).corners is None


def test_directions_in_the_frame_of_the_box() -> None:
    one = placed(loudspeaker((0.9, 1.2, 1.1), model="two-way", tilt_deg=8.0, roll=30.0))
    assert one.to_box(one.rotation.T) == pytest.approx(np.eye(3), abs=1e-12)
    ways = np.stack([one.rotation[:, 0], one.rotation[:, 1], -one.rotation[:, 0]])
    assert one.off_axis_deg(ways) == pytest.approx([0.0, 90.0, 180.0], abs=1e-5)
