"""Outlines laid into the room's frame: left stays left, the front is where one says."""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import SceneError
from sim.surveying.drawing.closing import Outline, closed_outlines
from sim.surveying.drawing.laying import check_reading, laid, refuse_sizes
from tests.surveying.drawing.plan_files import L_ROOM


def outline(corners: list[tuple[float, float]] = L_ROOM) -> Outline:
    places = np.array(corners)
    return closed_outlines(np.stack([places, np.roll(places, -1, axis=0)], axis=1)).outlines[0]


def test_the_top_of_the_drawing_is_the_front() -> None:
    room = laid(outline())
    assert (room.depth_m, room.width_m) == pytest.approx((4.4, 5.2))
    expected = {
        "left wall": (0.0, 0.0, 4.4),
        "rear wall": (4.4, 0.0, 5.2),
        "right wall": (4.4, 5.2, 2.6),
        "front wall 2": (1.8, 5.2, 1.6),
        "right wall 2": (1.8, 3.6, 1.8),
        "front wall": (0.0, 3.6, 3.6),
    }
    assert [wall.name for wall in room.walls] == list(expected)
    for wall in room.walls:
        assert (*wall.start, wall.length_m) == pytest.approx(expected[wall.name])
    assert [wall.number for wall in room.walls] == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize(
    ("front", "missing"),
    [("top", "front right"), ("left", "rear right"), ("bottom", "rear left"), ("right", "front left")],
)
def test_the_missing_corner_turns_with_the_front(front: str, missing: str) -> None:
    """The upper right corner of the drawing is missing; seen with each side ahead it lies elsewhere."""
    room = laid(outline(), front)
    corner = {
        "front left": (0.0, 0.0),
        "front right": (0.0, room.width_m),
        "rear left": (room.depth_m, 0.0),
        "rear right": (room.depth_m, room.width_m),
    }[missing]
    assert np.linalg.norm(room.corners - np.array(corner), axis=1).min() > 1.0


def test_a_slanting_wall_can_be_the_front() -> None:
    turn = np.radians(25.0)
    turned = [(x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)) for x, y in L_ROOM]
    straight, slanting = laid(outline()), laid(outline(turned), _longest_near(outline(turned), 3.6))
    np.testing.assert_allclose(slanting.corners, straight.corners, atol=1e-9)


def _longest_near(one: Outline, length_m: float) -> str:
    return str(int(np.argmin(np.abs(one.lengths_m - length_m))) + 1)


def test_a_gap_is_found_in_its_wall() -> None:
    room = laid(outline())
    assert room.wall_at(np.array([[1.9, 0.0], [1.0, 0.0]])) == pytest.approx(("rear wall", 1.0, 1.9))
    assert room.wall_at(np.array([[0.0, 3.4], [0.0, 2.0]])) == pytest.approx(("left wall", 1.0, 2.4))
    assert room.wall_at(np.array([[1.0, 1.0], [2.0, 1.0]])) is None


def test_the_tape_is_held_against_the_drawing() -> None:
    room = laid(outline())
    assert check_reading(room, "width", 5.212, "mm") == pytest.approx(-0.012)
    assert check_reading(room, "3", 2.6, "mm") == pytest.approx(0.0)
    assert check_reading(room, "right wall 2", 1.79, "mm") == pytest.approx(0.01)
    with pytest.raises(SceneError, match=r"--tape width: the drawing has 5.20 m and the tape 5.40 m; measure again"):
        check_reading(room, "width", 5.40, "mm")
    with pytest.raises(SceneError, match="--unit cm would fit"):
        check_reading(room, "width", 52.0, "mm")
    with pytest.raises(SceneError, match='there is no "wall 9"; give width, depth, or a wall: left wall, rear wall'):
        check_reading(room, "wall 9", 1.0, "mm")


@pytest.mark.parametrize("front", ["up", "0", "7", "-1", ""])
def test_a_front_that_is_none(front: str) -> None:
    with pytest.raises(SceneError, match="--front: "):
        laid(outline(), front)


def test_a_drawing_in_kilometres_is_no_room() -> None:
    large = outline([(1000.0 * x, 1000.0 * y) for x, y in L_ROOM])
    with pytest.raises(SceneError, match="in km the outline is 5,200 m by 4,400 m, which is no room; give --unit m or"):
        refuse_sizes(large, "km", "flat.dxf")
