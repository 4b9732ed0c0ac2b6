"""The set-up sheet of the bedroom, held to pencil and paper."""

from __future__ import annotations

import re
from math import asin, atan2, degrees, hypot, sqrt
from pathlib import Path

import pytest

from sim.blueprint.reader import SceneFile, parse_scene
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.sheet import SetupSheet, setup_sheet
from sim.studies.check.text import setup_lines
from tests.blueprint.scene_texts import TEN_LINES, changed

SCENES = Path(__file__).resolve().parents[3] / "scenes"
ON_DESK = (SCENES / "bedroom-on-desk" / "scene.toml").read_text(encoding="utf-8")
ON_STANDS = (SCENES / "bedroom-on-stands" / "scene.toml").read_text(encoding="utf-8")
SPEED = 343.0
"""The demo scenes set the air temperature so that sound travels 343.0 m/s."""


def sheet_of(text: str) -> tuple[SetupSheet, str]:
    scene, built = built_from(text)
    sheet = setup_sheet(built)
    return sheet, "\n".join(setup_lines(scene, built, sheet))


def built_from(text: str) -> tuple[SceneFile, BuiltScene]:
    scene = parse_scene(text, Path("nowhere"))
    return scene, build_scene(scene.blueprint, scene.folder)


def test_the_triangle_by_hand() -> None:
    """Ear (1.60, 1.70, 1.20), axes (0.62, 1.125 and 2.275, 1.02)."""
    sheet, text = sheet_of(ON_DESK)
    side = sqrt(0.98**2 + 0.575**2 + 0.18**2)
    (pair,) = sheet.pairs
    assert pair.base_m == pytest.approx(1.15)
    assert pair.angle_at_seat_deg == pytest.approx(2.0 * degrees(asin(0.575 / side)))
    assert pair.difference_mm == pytest.approx(0.0, abs=1e-9)
    for one in sheet.loudspeakers:
        assert one.distance_m == pytest.approx(side)
        assert one.flight_time_ms == pytest.approx(1000.0 * side / SPEED, abs=1e-4)
    assert "Listening triangle left - right: base 1.150 m, angle at the seat 60.0 degrees" in text
    assert f"distance to the ear {side:.3f} m, {1000.0 * side / SPEED:.2f} ms" in text
    assert "distances to the ear are equal" in text


def test_a_loudspeaker_further_back_shows_in_millimetres_and_milliseconds() -> None:
    sheet, text = sheet_of(
        changed("from_front = 0.42, from_left = 2.32", "from_front = 0.36, from_left = 2.32", ON_STANDS)
    )
    left, right = sqrt(1.18**2 + 0.62**2 + 0.02**2), sqrt(1.24**2 + 0.62**2 + 0.02**2)
    (pair,) = sheet.pairs
    assert pair.difference_mm == pytest.approx(1000.0 * (left - right))
    assert pair.difference_ms == pytest.approx(1000.0 * (left - right) / SPEED, abs=1e-5)
    assert f"distances differ by {1000 * (left - right):+.0f} mm ({1000 * (left - right) / SPEED:+.3f} ms" in text
    assert not pair.symmetric
    assert f"left is {1000 * (right - left):.0f} mm nearer to the ear" in pair.asymmetries
    assert "distance to the front differs: 0.42 and 0.36 m" in pair.asymmetries


def test_heights_toe_in_and_tilt_by_hand() -> None:
    sheet, text = sheet_of(ON_DESK)
    for one in sheet.loudspeakers:
        up = degrees(atan2(0.18, hypot(0.98, 0.575)))
        assert one.axis_height_over_ear_m == pytest.approx(-0.18)
        assert one.toe_in_deg == pytest.approx(degrees(atan2(0.575, 0.98)))
        assert one.toe_in_error_deg == pytest.approx(0.0, abs=1e-9)
        assert one.tilt_error_deg == pytest.approx(-up)
        assert one.axis_error_deg == pytest.approx(up)
        assert one.lowest_m == pytest.approx(0.74 + 0.06, abs=1e-3)  # desk and pad carry it
    assert "acoustic axis (tweeter) at 1.020 m: 0.180 m below the ear; lowest corner of the cabinet at 0.800 m" in text
    assert (
        "toe-in 30.4 degrees inward (points at the ear); tilt 0.0 degrees (9.0 more up would point at the ear)" in text
    )
    assert "the ear is 9.0 degrees off its axis" in text


@pytest.mark.parametrize(
    ("toe_in", "tilt", "given_toe_in", "given_tilt"),
    [
        (20, 5, "20.0 degrees inward (7.7 more inward", "5.0 degrees down (4.1 more up"),
        (40, -5, "40.0 degrees inward (12.3 more outward", "5.0 degrees up (5.9 more down"),
        (-3, 0, "3.0 degrees outward (30.7 more inward", "0.0 degrees (0.9 more down"),
    ],
)
def test_what_is_missing_to_point_at_the_ear(toe_in: float, tilt: float, given_toe_in: str, given_tilt: str) -> None:
    """On stands the ear is at atan(0.62 / 1.18) = 27.7 degrees inward and atan(0.02 / 1.333) = 0.9 degrees down."""
    turned = ON_STANDS.replace('toe_in_deg = "ear"', f"toe_in_deg = {toe_in}")
    _, text = sheet_of(turned.replace("tilt_deg = 0", f"tilt_deg = {tilt}"))
    words = (
        f"  toe-in {given_toe_in} would point at the ear); tilt {given_tilt} would point at the ear); roll 0 degrees"
    )
    assert text.splitlines().count(words) == 2


def test_distances_around_by_tape() -> None:
    sheet, text = sheet_of(ON_STANDS)
    reported = sheet.ear_distance_to_m
    by_tape = {
        "front": (0.85, "screen face"),
        "rear": (2.60, "rear wall"),
        "left": (1.70, "window"),
        "right": (1.70, "right wall"),
        "up": (1.20, "ceiling"),
        "down": (1.20, "floor"),
    }
    assert {way: name for way, (_, name) in reported.items()} == {way: name for way, (_, name) in by_tape.items()}
    for way, (distance, _) in by_tape.items():
        assert reported[way][0] == pytest.approx(distance)
    left = sheet.loudspeakers[0].distance_to_m
    assert [left[way][0] for way in ("front", "rear", "left", "up", "down")] == pytest.approx(
        [0.42, 3.78, 1.08, 1.18, 1.22]
    )
    assert left["right"][1] == "right loudspeaker baffle"
    assert "  toward the front: 0.850 m (screen face)" in text
    assert "  above: 1.200 m (ceiling)" in text


def test_a_clear_view_names_the_nearest_edge() -> None:
    """The screen's near edge is at depth 0.75, across 1.395; the tweeter's line passes at 1.125 + 0.13 0.575/0.98."""
    sheet, text = sheet_of(ON_DESK)
    line = next(each for each in sheet.sight_lines if (each.loudspeaker, each.driver) == ("left", "tweeter"))
    away = (1.395 - (1.125 + 0.13 * 0.575 / 0.98)) * 0.98 / hypot(0.98, 0.575)
    assert line.hidden_by == ""
    assert line.nearest == "screen"
    assert line.clearance_m == pytest.approx(away)
    assert f"left tweeter to the ear: clear by {away:.3f} m, nearest edge: screen" in text


def test_a_wide_screen_hides_the_tweeters_and_says_how_deep() -> None:
    """1.20 m wide: its left rear edge is at depth 0.71, across 1.10, and the line passes inside it."""
    sheet, text = sheet_of(changed("width = 0.61", "width = 1.20", ON_DESK))
    deep = (1.125 + 0.09 * 0.575 / 0.98 - 1.10) * 0.98 / hypot(0.98, 0.575)
    for name in ("left", "right"):
        line = next(each for each in sheet.sight_lines if (each.loudspeaker, each.driver) == (name, "tweeter"))
        assert line.hidden_by == "screen"
        assert line.clearance_m == pytest.approx(deep)
        assert f"{name} tweeter to the ear: blocked by the screen, by {deep:.3f} m" in text
        assert (
            f"the tweeter of {name} cannot be seen from the ear: the screen is in the way"
            in text.split("Look at this")[1]
        )


def test_the_window_beside_the_ear_breaks_the_symmetry() -> None:
    sheet, text = sheet_of(ON_STANDS)
    (pair,) = sheet.pairs
    assert pair.asymmetries == ("beside the ear are different surfaces: window on the left, right wall on the right",)
    assert "  not symmetric: beside the ear" in text
    start, end = ON_STANDS.index('[[openings]]\nname = "window"'), ON_STANDS.index('[[openings]]\nname = "door"')
    sheet, text = sheet_of(ON_STANDS[:start] + ON_STANDS[end:])
    assert sheet.pairs[0].symmetric
    assert "  symmetric left to right" in text
    assert "Look at this" not in text


def test_a_seat_aside_is_not_symmetric() -> None:
    sheet, _ = sheet_of(changed("from_left = 1.70, up = 1.20", "from_left = 1.60, up = 1.20", ON_STANDS))
    reported = " ".join(sheet.pairs[0].asymmetries)
    assert "left is" in reported
    assert "distance of the ear to the side differs: 1.60 and 1.80 m" in reported


def test_defaults_and_assumptions_are_listed() -> None:
    scene, built = built_from(ON_DESK)
    text = "\n".join(setup_lines(scene, built, setup_sheet(built)))
    defaults = text.split("Left out of the scene, so a default was taken\n")[1]
    assert defaults.splitlines() == [f"  - {key}" for key in scene.defaulted]
    assert "models.five-inch.woofer_diameter" in defaults
    assumed = text.split("Assumed\n")[1]
    assert "Pads under the boxes act on vibration" in assumed
    assert f"scene {scene.digest}" in text.splitlines()[0]
    assert "volume 34.3 m3" in text


def test_a_strong_tilt_asks_for_a_strap() -> None:
    _, text = sheet_of(ON_STANDS.replace("tilt_deg = 0", "tilt_deg = 18"))
    assert "STOP: left is tilted 18 degrees and no strap is noted" in " ".join(text.split("Look at this")[1].split())


def test_a_wide_triangle_is_named() -> None:
    wide = ON_STANDS.replace("from_left = 1.08", "from_left = 0.60").replace("from_left = 2.32", "from_left = 2.80")
    _, text = sheet_of(wide)
    angle = 2.0 * degrees(asin(1.10 / sqrt(1.18**2 + 1.10**2 + 0.02**2)))
    assert f"span {angle:.0f} degrees at the seat; 60 is usual" in text


def test_a_bare_point_in_an_empty_room_has_no_box_and_no_edge_near() -> None:
    """One point loudspeaker: nothing sticks out anywhere, and there is no other side to compare with."""
    lines = TEN_LINES.splitlines()
    _, text = sheet_of("\n".join([*lines[:6], 'model = "point"', *lines[6:7]]))
    assert "  left point to the ear: clear, no edge is near" in text.splitlines()
    assert "lowest corner" not in text
    assert "Listening triangle" not in text
    assert "There is only one monitor" in text


def test_the_sheet_speaks_the_unit_of_the_scene() -> None:
    """1.6 m is 5 ft 3 in to the nearest sixteenth, 1.7 m is 5 ft 6 15/16 in."""
    text = 'units = "ft"\n' + re.sub(r"= (\d[\d.]*)", r'= "\1 m"', TEN_LINES)
    _, reported = sheet_of(text)
    assert "Ear: from_front 5 ft 3 in, from_left 5 ft 6 15/16 in, up 3 ft 11 1/4 in" in reported
    assert "  to the left: 5 ft 6 15/16 in (left wall)" in reported
