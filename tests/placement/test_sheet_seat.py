"""Gaze, lower chairs and rising desks by pencil."""

from __future__ import annotations

from math import atan2, degrees, hypot, radians, sin
from typing import Any

import numpy as np
import pytest

from sim.blueprint.furniture.screen import Screen
from sim.blueprint.schema import Blueprint
from sim.placement.built_scene import build_scene
from sim.placement.sheet_seat import SeatSheet, eye_of, gaze_at, seat_sheet
from tests.built_scenes import NOWHERE, blueprint_of, box, desk, loudspeaker

EAR = (1.6, 1.7, 1.20)


def screen(**more: Any) -> dict[str, Any]:
    at = {"from_front": 0.75, "from_left": 1.70, "up": 0.86, **more.pop("at", {})}
    return {"kind": "screen", "at": at, "width": 0.61, "height": 0.36, **more}


def sheet_of(up: float = 1.20, **more: Any) -> SeatSheet:
    pair = [loudspeaker((0.5, 1.1, up), name="left"), loudspeaker((0.5, 2.3, up), name="right")]
    blueprint: Blueprint = blueprint_of(box(4.2, 3.4, 2.4), pair, EAR, **more)
    return seat_sheet(blueprint, build_scene(blueprint, NOWHERE))


def test_the_eye_is_ahead_of_the_ear_and_a_little_above() -> None:
    assert eye_of(np.array(EAR)) == pytest.approx([1.50, 1.70, 1.23])


def test_gaze_at_an_upright_screen() -> None:
    (gaze,) = sheet_of(furniture=[screen()]).gazes
    assert gaze.top_deg == pytest.approx(degrees(atan2(1.22 - 1.23, 0.75)))
    assert gaze.middle_deg == pytest.approx(degrees(atan2(1.04 - 1.23, 0.75)))
    assert gaze.bottom_deg == pytest.approx(degrees(atan2(0.86 - 1.23, 0.75)))
    assert gaze.distance_m == pytest.approx(hypot(0.75, 0.19))
    assert gaze.aside_deg == pytest.approx(0.0)
    assert (gaze.bottom_m, gaze.top_m) == pytest.approx((0.86, 1.22))


def test_a_screen_that_looks_up_leans_away() -> None:
    record = Screen.model_validate(screen(tilt_deg=20.0))
    gaze = gaze_at(record, eye_of(np.array(EAR)))
    away = 0.75 + 0.36 * sin(radians(20.0))
    assert gaze.top_deg == pytest.approx(degrees(atan2(gaze.top_m - 1.23, away)))
    assert gaze.top_m < 1.22


def test_a_screen_to_the_right_is_to_the_right() -> None:
    (gaze,) = sheet_of(furniture=[screen(at={"from_left": 2.2})]).gazes
    assert gaze.aside_deg == pytest.approx(degrees(atan2(0.5, 0.75)))


def test_a_high_screen_and_high_loudspeakers_bend_the_neck() -> None:
    assert sheet_of(furniture=[screen()]).warnings == ()
    high = sheet_of(1.70, furniture=[screen(at={"up": 1.10})])
    assert [words.split(":")[0] for words in high.warnings] == ["neck"] * 3
    assert "upper edge of the screen is 17 degrees above the eyes" in high.warnings[0]
    up = degrees(atan2(0.47, hypot(1.0, 0.6)))
    assert f"left is {up:.0f} degrees above the eyes" in high.warnings[1]


def test_ten_centimetres_lower() -> None:
    now, lower, *_ = sheet_of().postures
    assert now.aims[0].tilt_needed_deg == pytest.approx(0.0, abs=1e-9)
    assert lower.ear_height_m == pytest.approx(1.10)
    assert lower.aims[0].over_ear_m == pytest.approx(0.10)
    tilt = degrees(atan2(0.10, hypot(1.1, 0.6)))
    assert lower.aims[0].tilt_needed_deg == pytest.approx(tilt)
    assert lower.aims[0].off_axis_deg == pytest.approx(tilt)


def test_a_desk_that_rises_with_its_loudspeakers_changes_no_angle() -> None:
    now, _, fixed, rides = sheet_of().postures
    assert fixed.ear_height_m == rides.ear_height_m == pytest.approx(1.60)
    assert fixed.aims[0].over_ear_m == pytest.approx(-0.40)
    assert fixed.aims[0].tilt_needed_deg == pytest.approx(-degrees(atan2(0.40, hypot(1.1, 0.6))))
    assert rides.rides and not fixed.rides
    for before, after in zip(now.aims, rides.aims, strict=True):
        assert after.off_axis_deg == pytest.approx(before.off_axis_deg)
        assert after.gaze_deg == pytest.approx(before.gaze_deg)


def test_under_a_low_ceiling_nobody_stands() -> None:
    pair = [loudspeaker((0.5, 1.1, 1.2), name="left")]
    blueprint = blueprint_of(box(4.2, 3.4, 1.65), pair, EAR)
    assert len(seat_sheet(blueprint, build_scene(blueprint, NOWHERE)).postures) == 2


def test_a_lower_seat_may_lose_sight_behind_a_screen() -> None:
    """A screen up to 1.18 m beside the line hides nothing at 1.20 m, but it does from 1.10 m."""
    wide = screen(width=2.4, at={"up": 0.82})
    now, lower, *_ = sheet_of(furniture=[desk((0.6, 1.3), (0.9, 2.5), 0.74), wide]).postures
    assert [one.hidden for one in now.aims] == ["", ""]
    assert [one.hidden for one in lower.aims] == ["screen", "screen"]


def test_what_stands_on_the_floor_does_not_ride_along() -> None:
    on_stands = [
        loudspeaker((0.5, 1.1, 1.2), name="left", standing="stand", stand_height=0.98),
        loudspeaker((0.5, 2.3, 1.2), name="right"),
    ]
    blueprint = blueprint_of(box(4.2, 3.4, 2.4), on_stands, EAR)
    *_, fixed, rides = seat_sheet(blueprint, build_scene(blueprint, NOWHERE)).postures
    assert [one.loudspeaker for one in fixed.aims] == ["left", "right"]
    assert [one.loudspeaker for one in rides.aims] == ["right"]
    blueprint = blueprint_of(box(4.2, 3.4, 2.4), on_stands[:1], EAR)
    assert not any(one.rides for one in seat_sheet(blueprint, build_scene(blueprint, NOWHERE)).postures)
