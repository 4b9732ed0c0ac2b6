"""The set-up sheet: what a tape and a string would say."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.placement.sheet import SetupSheet, setup_sheet
from tests.built_scenes import box, built_scene_of, loudspeaker, prism

EAR = (2.3, 2.0, 1.2)


def sheet_of(
    left: dict[str, Any], right: dict[str, Any], room: dict[str, Any] | None = None, **more: Any
) -> SetupSheet:
    return setup_sheet(built_scene_of(room or box(5.0, 4.0, 2.6), [left, right], EAR, **more))


def at(across: float, depth: float = 1.0, up: float = 1.2, **more: Any) -> dict[str, Any]:
    name = more.pop("name", "left" if across < 2.0 else "right")
    return loudspeaker((depth, across, up), name, model="two-way", **more)


def test_an_equilateral_triangle() -> None:
    """ITU-R BS.775: base as long as the distances, 60 degrees at the seat; 1.5 m sides have a height of 1.29904 m."""
    depth = EAR[0] - 1.29904
    sheet = sheet_of(at(1.25, depth), at(2.75, depth))
    (pair,) = sheet.pairs
    assert pair.base_m == pytest.approx(1.5)
    assert pair.angle_at_seat_deg == pytest.approx(60.0, abs=1e-3)
    for one in sheet.loudspeakers:
        assert one.distance_m == pytest.approx(1.5, abs=1e-5)
        assert one.flight_time_ms == pytest.approx(1500.0 / 343.2, abs=1e-4)
        assert one.toe_in_deg == pytest.approx(30.0, abs=1e-3)
    assert pair.symmetric and pair.asymmetries == ()
    assert (pair.difference_mm, pair.difference_ms) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert sheet.warnings == ()


def test_tweeter_at_ear_height_and_aimed_has_no_axis_error() -> None:
    """Common practice, no source."""
    for one in sheet_of(at(1.2), at(2.8)).loudspeakers:
        assert one.axis_height_over_ear_m == pytest.approx(0.0, abs=1e-12)
        assert one.axis_error_deg == pytest.approx(0.0, abs=1e-5)
        assert (one.toe_in_error_deg, one.tilt_error_deg) == pytest.approx((0.0, 0.0), abs=1e-9)


def test_errors_are_what_is_missing() -> None:
    sheet = sheet_of(at(1.2, up=1.5, toe_in_deg=20.0, tilt_deg=3.0), at(2.8, up=1.0, toe_in_deg=40.0, tilt_deg=0.0))
    left, right = sheet.loudspeakers
    needed = np.degrees(np.arctan2(0.8, 1.3))
    assert left.toe_in_error_deg == pytest.approx(needed - 20.0)
    assert right.toe_in_error_deg == pytest.approx(needed - 40.0)
    flat = np.hypot(0.8, 1.3)
    assert left.tilt_error_deg == pytest.approx(np.degrees(np.arctan2(0.3, flat)) - 3.0)
    assert right.tilt_error_deg == pytest.approx(np.degrees(np.arctan2(-0.2, flat)))
    assert left.axis_height_over_ear_m == pytest.approx(0.3)
    assert right.axis_height_over_ear_m == pytest.approx(-0.2)


def test_distances_to_the_surfaces_around() -> None:
    sheet = sheet_of(at(1.2), at(2.8))
    left, right = sheet.loudspeakers
    expected = {"front": 1.0, "rear": 4.0, "left": 1.2, "right": 2.8, "up": 1.4, "down": 1.2}
    assert {way: distance for way, (distance, _) in left.distance_to_m.items() if way != "right"} == pytest.approx(
        {way: distance for way, distance in expected.items() if way != "right"}
    )
    assert left.distance_to_m["left"][1] == "left wall"
    assert left.distance_to_m["down"][1] == "floor"
    assert right.distance_to_m["right"] == (pytest.approx(1.2), "right wall")
    # the other loudspeaker stands between the right one's neighbour and the far wall
    assert left.distance_to_m["right"][1].startswith("right loudspeaker")
    assert sheet.ear_distance_to_m["front"] == (pytest.approx(2.3), "front wall")
    assert left.lowest_m == pytest.approx(1.2 - 0.22)


def test_a_longer_way_is_told_in_millimetres_and_milliseconds() -> None:
    sheet = sheet_of(at(1.2, depth=0.95), at(2.8))
    (pair,) = sheet.pairs
    longer = np.hypot(0.8, 1.35) - np.hypot(0.8, 1.3)
    assert pair.difference_mm == pytest.approx(1000.0 * longer)
    assert pair.difference_ms == pytest.approx(1000.0 * longer / 343.2)
    assert not pair.symmetric
    assert any(words.startswith("right is") and "nearer" in words for words in pair.asymmetries)
    assert any("unequal" in words for words in sheet.warnings)


@pytest.mark.parametrize(
    ("left", "right", "words"),
    [
        (at(1.2, up=1.2), at(2.8, up=1.25), "axis height differs"),
        (at(1.2, toe_in_deg=30.0), at(2.8, toe_in_deg=31.0), "toe-in differs"),
        (at(1.2, tilt_deg=0.0), at(2.8, tilt_deg=2.0), "tilt differs"),
        (at(1.2, tilt_deg=16.0), at(2.8, tilt_deg=16.0), "strap it"),
        (at(1.2, toe_in_deg=0.0), at(2.8, toe_in_deg=0.0), "degrees off their axes"),
        (at(1.7), at(2.3), "60 is usual"),
        (at(0.4), at(3.6), "60 is usual"),
    ],
)
def test_what_is_odd_is_said(left: dict[str, Any], right: dict[str, Any], words: str) -> None:
    assert any(words in warning for warning in sheet_of(left, right).warnings)


def test_a_window_beside_one_of_them_is_an_asymmetry() -> None:
    window = {"name": "window", "kind": "window", "surface": "left wall", "from_front": [0.5, 1.6], "up": [0.9, 2.0]}
    (pair,) = sheet_of(at(1.2), at(2.8), openings=[window]).pairs
    assert any("window on the left, right wall on the right" in words for words in pair.asymmetries)


def test_a_room_that_is_wider_on_one_side_is_an_asymmetry() -> None:
    (pair,) = sheet_of(at(1.2), at(2.8), room=box(5.0, 4.1, 2.6)).pairs
    assert any("distance to the side differs: 1.20 and 1.30" in words for words in pair.asymmetries)


def test_a_hidden_driver_is_told() -> None:
    screen = {
        "kind": "screen",
        "at": {"from_front": 1.6, "from_left": 1.6, "up": 0.8},
        "width": 0.8,
        "height": 0.9,
        "material": "hard",
    }
    sheet = sheet_of(at(1.2), at(2.8), furniture=[screen])
    assert any("tweeter of left cannot be seen" in words and "screen" in words for words in sheet.warnings)
    assert not any("of right cannot be seen" in words for words in sheet.warnings)


@pytest.mark.parametrize(
    ("model", "words"),
    [("two-way", "tweeter"), ("coaxial", "tweeter"), ("three-way", "mid and tweeter"), ("point", "")],
)
def test_what_the_axis_runs_through_is_named(model: str, words: str) -> None:
    (one,) = setup_sheet(
        built_scene_of(box(5.0, 4.0, 2.6), [loudspeaker((1.0, 1.2, 1.2), model=model)], EAR)
    ).loudspeakers
    assert one.axis_at == words


def test_an_l_shaped_room_is_not_symmetric_though_ear_and_monitors_are() -> None:
    corners = [(0.0, 0.0), (5.0, 0.0), (5.0, 2.6), (3.4, 2.6), (3.4, 4.0), (0.0, 4.0)]
    depth = EAR[0] - 1.29904
    (pair,) = sheet_of(at(1.25, depth), at(2.75, depth), prism(corners, 2.6)).pairs
    (odd,) = pair.asymmetries
    assert not pair.symmetric and odd.startswith("the room itself is not alike on both sides: no mirror image of ")
    # the shorter rear wall and the two of the missing corner; the left wall has the right wall opposite
    names = odd.partition(" of ")[2].split(", ")
    assert len(names) == 3 and "the left wall" not in names and "the front wall" not in names


def test_one_slope_is_named_and_two_alike_are_not() -> None:
    def slope(wall: str) -> dict[str, Any]:
        return {"name": f"{wall} slope", "wall": wall, "starts_at_height": 1.4, "angle_deg": 45.0}

    room = box(5.0, 4.0, 2.6)
    depth = EAR[0] - 1.29904
    one = sheet_of(at(1.25, depth), at(2.75, depth), {**room, "slopes": [slope("left wall")]}).pairs[0]
    both = sheet_of(
        at(1.25, depth), at(2.75, depth), {**room, "slopes": [slope("left wall"), slope("right wall")]}
    ).pairs[0]
    assert "the left wall slope" in " ".join(one.asymmetries) and both.symmetric


def test_a_model_without_a_name_is_called_by_its_kind() -> None:
    assert [one.model for one in sheet_of(at(1.25), at(2.75)).loudspeakers] == ["two-way", "two-way"]
