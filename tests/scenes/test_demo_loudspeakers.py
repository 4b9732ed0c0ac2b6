"""The loudspeakers of the demo rooms: sizes that people own, turned in ways that their layouts allow.

Where each driver is follows from the box by hand (`plain_mirror.on_the_front`); what an
orientation does is what the rooms' README files say it does.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import tomllib
from functools import cache
from typing import Any

import numpy as np
import pytest
from matplotlib.text import Text

from sim.blueprint.reader import SceneFile, read_scene
from sim.placement.built_scene import build_scene
from sim.placement.poses import PlacedLoudspeaker
from sim.showing.plan_picture import plan_figure
from sim.studies.orient.drivers import Keep, read_orientations
from sim.studies.orient.findings import find
from sim.studies.orient.study import OrientationStudy, Oriented, study_orientation
from sim.studies.orient.text import orientation_lines
from sim.studies.stand import stand_arguments
from tests.scenes.plain_mirror import mirrored, on_the_front, planes
from tests.scenes.test_demo_scenes import FOLDER, NAMES, axis_point

UPRIGHT_OFFSETS_M = {
    # (right, up) from the acoustic axis point of the upright box, plate not turned
    "attic": {"woofer": (0.0, -0.24), "mid": (0.0, -0.05), "tweeter": (0.0, 0.05)},
    "bedroom-on-stands": {"woofer": (0.0, -0.15), "tweeter": (0.0, 0.0)},
    "bedroom-inverted": {"woofer": (0.0, -0.15 * 0.39 / 0.29), "tweeter": (0.0, 0.0)},
}
"""A two-way has woofer and tweeter 15 cm apart in a box 29 cm high, more in higher ones; a three-way of 49 cm has its
woofer 29 cm below the tweeter, the mid 10 cm below it, and the axis between these two (common practice, no source)."""
BOXES_M = {
    # width, height, depth (m) and mass (kg) of common boxes, smallest and largest (common practice, no source)
    "two-way": ((0.18, 0.29, 0.23, 4.0), (0.25, 0.39, 0.33, 13.0)),
    "three-way": ((0.29, 0.49, 0.36, 19.0), (0.70, 0.90, 0.50, 150.0)),
    "coaxial": ((0.20, 0.20, 0.20, 6.0), (0.35, 0.40, 0.35, 20.0)),
}
SUPPORT_MM = 3.0


def printed(name: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = tomllib.loads((FOLDER / name / "expected.toml").read_text(encoding="utf-8")).get(
        "drivers", []
    )
    return rows


ROWS = [(name, row) for name in NAMES for row in printed(name)]
IDS = [f"{name}: {row['loudspeaker']}, {row['driver']}" for name, row in ROWS]


@cache
def scene_of(name: str) -> SceneFile:
    return read_scene(FOLDER / name)


@cache
def placed(name: str) -> dict[str, PlacedLoudspeaker]:
    scene = scene_of(name)
    return {one.name: one for one in build_scene(scene.blueprint, scene.folder).loudspeakers}


@cache
def in_orientations(name: str, words: str, keep: Keep = "axis") -> OrientationStudy:
    return study_orientation(scene_of(name), read_orientations(words), keep)


def orientations(name: str, words: str, keep: Keep = "axis") -> tuple[Oriented, ...]:
    return in_orientations(name, words, keep).of("left")


def given_in_docs() -> list[list[str]]:
    page = (FOLDER.parent / "docs" / "how-to" / "orientation.md").read_text(encoding="utf-8")
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in page.splitlines() if line[:2] == "| "]
    return [row for row in rows if len(row) == 7 and row[0] in NAMES]


DOCS = given_in_docs()


@pytest.mark.parametrize("row", DOCS, ids=[" ".join(row[:3]) for row in DOCS])
def test_the_page_on_orientation_tells_what_is_found(row: list[str]) -> None:
    name, keep, orientation, *raised = row
    words = ",".join(other[2] for other in DOCS if other[0] == name)
    study = in_orientations(name, words, "axis" if keep == "axis" else "support")
    found = find(study)[0]
    number = words.split(",").index(orientation)
    below = found.desk[number]
    spreads = [f"{values[number]:.1f}" for values in (found.across_db, found.up_db, found.whole_db)]
    assert [*spreads, "none" if below is None else f"{below.low_db:.1f} to {below.high_db:.1f}"] == raised


def test_a_false_wall_is_drawn_with_the_loudspeakers_in_it() -> None:
    scene = scene_of("control-room-built-in")
    built = build_scene(scene.blueprint, scene.folder)
    assert built.boxes == frozenset()
    assert "baffle wall" in [text.get_text() for text in plan_figure(built, scene.blueprint).findobj(Text)]
    bridge = build_scene(scene_of("control-room-bridge").blueprint, scene_of("control-room-bridge").folder)
    assert bridge.boxes == {"left loudspeaker", "right loudspeaker"}


def spread_db(name: str, words: str) -> list[float]:
    """Largest less smallest level over the head box near the highest crossover, for each orientation."""
    found = find(in_orientations(name, words))[0]
    return [float(value) for value in found.whole_db]


@pytest.mark.parametrize(("name", "row"), ROWS, ids=IDS)
def test_drivers_are_where_a_ruler_would_find_them(name: str, row: dict[str, Any]) -> None:
    one = placed(name)[row["loudspeaker"]]
    axis = axis_point(scene_of(name), row["loudspeaker"])
    ear = np.array(scene_of(name).blueprint.listener.ear.coordinates)
    offsets = next(table for key, table in UPRIGHT_OFFSETS_M.items() if name.startswith(key))
    right, up = offsets[row["driver"]]
    roll = {"attic-lying": {"left": 90.0, "right": -90.0}, "bedroom-inverted": {"left": 180.0}}.get(name, {})
    if name == "attic-lying" and row["driver"] != "woofer":
        roll = {}  # the plate is turned back, so mid and tweeter stay as in the upright box
    toward = np.degrees(np.arctan2(ear[1] - axis[1], ear[0] - axis[0]))
    by_hand = on_the_front(axis, float(toward), right, up, roll.get(row["loudspeaker"], 0.0))
    names = [driver.name for driver in one.model.drivers]
    # a driver level with a face of the screen is moved out of its plane by 2e-7 m
    np.testing.assert_allclose(one.driver_points[names.index(row["driver"])], by_hand, atol=2.1e-7)
    np.testing.assert_allclose([row["from_front"], row["from_left"], row["up"]], by_hand, atol=0.0051)
    arrival = mirrored(by_hand, ear, planes(name)["desk top"])
    assert arrival.point[0] == pytest.approx(row["desk_from_front"], abs=0.0051)
    assert arrival.delay_ms == pytest.approx(row["desk_delay_ms"], abs=0.0051)


@pytest.mark.parametrize("name", NAMES)
def test_boxes_are_of_sizes_that_people_own(name: str) -> None:
    for one in placed(name).values():
        assert one.model.cabinet_size_m is not None and one.model.mass_kg is not None
        raised = np.array([*one.model.cabinet_size_m, one.model.mass_kg])
        least, most = BOXES_M[one.model.kind]
        assert (raised >= np.array(least) - 1e-9).all() and (raised <= np.array(most) + 1e-9).all()


@pytest.mark.parametrize("name", [name for name in NAMES if name != "control-room-built-in"])
def test_boxes_stand_on_what_they_are_said_to_stand_on(name: str) -> None:
    """The lowest corner lies on the stand, or on the pads on the desk, within 3 mm: no box hovers, none sinks in."""
    blueprint = scene_of(name).blueprint
    tops = {
        item.name: item.top if item.kind == "desk" else item.up[1]
        for item in blueprint.furniture
        if item.kind in ("desk", "bridge")
    }
    for record in blueprint.loudspeakers:
        below = record.stand_height if record.standing == "stand" else tops[record.stands_on or ""] + record.pad
        corners = placed(name)[record.name].corners
        assert corners is not None and below is not None
        assert 1000.0 * (corners[:, 2].min() - below) == pytest.approx(0.0, abs=SUPPORT_MM)


def test_every_kind_and_every_way_up_is_shown() -> None:
    shown = {(one.model.kind, abs(one.roll_deg)) for name in NAMES for one in placed(name).values()}
    assert {("two-way", 0.0), ("two-way", 180.0), ("three-way", 0.0), ("three-way", 90.0), ("coaxial", 90.0)} <= shown
    assert any(one.built_into for one in placed("control-room-built-in").values())


def test_upside_down_brings_the_tweeter_of_a_high_box_to_the_ear() -> None:
    """On the same stands the tweeter would be 1.10 + 0.39 - 0.07 * 0.39 / 0.29 = 1.396 m high, 20 cm over the ear."""
    inverted, upright = orientations("bedroom-inverted", "inverted,upright", "support")
    assert inverted.placed.axis_point[2] == pytest.approx(1.195, abs=0.002)
    assert upright.placed.axis_point[2] == pytest.approx(1.396, abs=0.002)


def test_a_coaxial_is_nearly_the_same_whichever_way_it_lies() -> None:
    """Both drivers at one point, so they never cancel (common practice, no source); the edges of the box turn with it.

    Upright at the same height it would stick into the desk; that is why it lies.
    """
    lying, upright, over = orientations("bedroom-coaxial", "left,upright,inverted")
    assert lying.trouble == "" and "goes through the desk top" in upright.trouble
    for other in (upright, over):
        apart = np.abs(other.pattern_db - lying.pattern_db)
        assert apart[:, :5].max() < 0.1 and np.median(apart) < 0.05 and apart.max() < 2.5


def test_lying_three_ways_cancel_along_the_seat_only_with_the_plate_not_turned() -> None:
    """Mid and tweeter above each other do not differ along the seat; side by side they do, near 2.8 kHz.

    The edges of the box, to one side of the plate, add about a decibel to the spread however it is turned.
    """
    assert max(*spread_db("attic-facing-gable", "upright"), *spread_db("attic-lying", "in,upright")) < 2.0
    turned_back, side_by_side = (one.times for one in orientations("attic-lying", "in,upright"))
    assert not any(np.isfinite(pair.null_m) and pair.crossover_hz > 1000.0 for pair in turned_back)
    (null,) = [pair.null_m for pair in side_by_side if np.isfinite(pair.null_m)]
    # half a period apart: the ear moves until one way is 343 / 2800 / 2 = 61 mm longer, for drivers 10 cm apart
    axis, ear = axis_point(scene_of("attic-lying"), "left"), np.array([2.05, 2.30, 1.22])
    toward = np.degrees(np.arctan2(0.80, 1.35))
    apart = [on_the_front(axis, float(toward), side, 0.0, 0.0) for side in (-0.05, 0.05)]
    beside = ear + np.array([0.0, null, 0.0])
    ways = [np.linalg.norm(beside - driver) for driver in apart]
    assert abs(ways[0] - ways[1]) == pytest.approx(0.5 * 343.0 / 2800.0, abs=0.001)


def test_midfields_rolled_by_30_degrees_alone_send_something_by_way_of_the_console() -> None:
    """The plane of the console mirrors them 0.95 m from the front wall, where no console is; rolled they come near."""
    study = in_orientations("control-room-stands", "out,in,30", "support")
    text = " ".join(" ".join(orientation_lines(study)).split())
    assert "Reflection off the console top: rolled by 30 degrees, none to " in text
    assert "; nothing at first order top outward and top inward." in text


def test_a_box_upside_down_on_a_tall_stand_tips_early() -> None:
    """Box of 11 kg, 0.39 m high, on 7 kg set to 1.106 m: centre of gravity 1.010 m up, 0.125 m from the edge."""
    box, stand, top = 11.0, 7.0, 1.20 - 0.07 * 0.39 / 0.29
    up_m = (box * (top + 0.5 * 0.39) + stand * 0.5 * top) / (box + stand)
    by_hand = float(np.degrees(np.arctan(0.125 / up_m)))
    parser = argparse.ArgumentParser()
    stand_arguments(parser)
    words = [
        "--scene",
        str(FOLDER / "bedroom-inverted"),
        "--loudspeaker",
        "left",
        "--have",
        "stand,250x250x900-1150,7kg",
    ]
    chosen = parser.parse_args(words)
    with contextlib.redirect_stdout(io.StringIO()) as raised:
        assert chosen.run(chosen) == 0
    assert f"forward {by_hand:.1f} (over the floor)" in " ".join(raised.getvalue().split())
    assert f"{by_hand:.1f} degrees" in (FOLDER / "bedroom-inverted" / "README.md").read_text(encoding="utf-8")
