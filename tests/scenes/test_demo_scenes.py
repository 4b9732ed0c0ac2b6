"""Every demo room is read, explained, and holds the numbers that its first arrivals say."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.blueprint.reader import SceneFile, read_scene
from sim.geometry.enclosures import room_patches
from sim.geometry.meshes import furniture_patches
from sim.placement.built_scene import build_scene
from tests.scenes.plain_mirror import SPEED_OF_SOUND, Vector, hits, mirrored, planes

FOLDER = Path(__file__).resolve().parents[2] / "scenes"
NAMES = [
    "attic-facing-gable",
    "attic-lying",
    "attic-turned",
    "bedroom-coaxial",
    "bedroom-inverted",
    "bedroom-on-desk",
    "bedroom-on-stands",
    "control-room-bridge",
    "control-room-built-in",
    "control-room-stands",
]
AXES = {"from_front": 0, "from_left": 1, "up": 2}


def expected(name: str) -> dict[str, Any]:
    return tomllib.loads((FOLDER / name / "expected.toml").read_text(encoding="utf-8"))


ARRIVALS = [(name, row) for name in NAMES for row in expected(name)["arrivals"]]
IDS = [f"{name}: {row['loudspeaker']}, {row['surface']}" for name, row in ARRIVALS]


def axis_point(scene: SceneFile, loudspeaker: str) -> Vector:
    place = next(item.acoustic_axis for item in scene.blueprint.loudspeakers if item.name == loudspeaker)
    assert place.up is not None
    return np.array([place.from_front, place.from_left, place.up])


def test_these_are_all_the_scenes() -> None:
    assert sorted(path.name for path in FOLDER.iterdir() if path.is_dir()) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_scene_is_read_without_warnings_and_is_marked_as_invented(name: str) -> None:
    scene = read_scene(FOLDER / name)
    assert scene.warnings == ()
    assert any("invented" in note for note in scene.blueprint.notes)
    assert [loudspeaker.name for loudspeaker in scene.blueprint.loudspeakers] == ["left", "right"]
    readme = (FOLDER / name / "README.md").read_text(encoding="utf-8")
    assert readme.startswith("# ")
    assert "demo data" in readme


@pytest.mark.parametrize("name", NAMES)
def test_everything_in_a_scene_can_stand_where_it_is(name: str) -> None:
    scene = read_scene(FOLDER / name)
    built = build_scene(scene.blueprint, scene.folder)
    for placed, loudspeaker in zip(("left", "right"), built.loudspeakers, strict=True):
        np.testing.assert_allclose(loudspeaker.axis_point, axis_point(scene, placed), atol=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_the_links_between_scenes_lead_somewhere(name: str) -> None:
    readme = (FOLDER / name / "README.md").read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)]+)\)", readme)
    assert links
    assert all((FOLDER / name / link).is_file() for link in links)


@pytest.mark.parametrize("name", NAMES)
def test_the_triangle_is_symmetrical_about_the_listener(name: str) -> None:
    scene = read_scene(FOLDER / name)
    left, right = axis_point(scene, "left"), axis_point(scene, "right")
    ear = np.array(scene.blueprint.listener.ear.coordinates)
    assert left[1] < ear[1] < right[1]
    np.testing.assert_allclose(left * [1, -1, 1] + [0, 2 * ear[1], 0], right, atol=1e-9)


def test_layouts_of_one_room_differ_only_where_they_say() -> None:
    bedrooms = [read_scene(FOLDER / name).blueprint for name in NAMES if name.startswith("bedroom")]
    for section in ("room", "listener", "furniture", "openings", "keep_clear", "air", "target", "treatment"):
        assert all(getattr(one, section) == getattr(bedrooms[0], section) for one in bedrooms)
    desk, stands = (read_scene(FOLDER / f"bedroom-on-{support}").blueprint for support in ("desk", "stands"))
    assert desk.models == stands.models
    facing, lying = (read_scene(FOLDER / f"attic-{how}").blueprint for how in ("facing-gable", "lying"))
    for section in ("room", "listener", "furniture", "openings", "air", "target", "treatment"):
        assert getattr(facing, section) == getattr(lying, section)
    options = [read_scene(FOLDER / f"control-room-{option}").blueprint for option in ("bridge", "stands", "built-in")]
    for section in ("room", "listener", "openings", "air", "target"):
        assert getattr(options[0], section) == getattr(options[1], section) == getattr(options[2], section)
    kept = [[item for item in option.furniture if item.name not in ("bridge", "baffle wall")] for option in options]
    assert kept[0] == kept[1] == kept[2]


def test_the_air_makes_sound_travel_343_metres_a_second() -> None:
    # ISO 9613-1:1993, dry air: 343.2 m/s at 293.15 K, growing with the square root of the temperature.
    for name in NAMES:
        kelvin = read_scene(FOLDER / name).blueprint.air.temperature_c + 273.15
        assert 343.2 * np.sqrt(kelvin / 293.15) == pytest.approx(expected(name)["speed_of_sound_m_s"], abs=0.01)


@pytest.mark.parametrize(("name", "row"), ARRIVALS, ids=IDS)
def test_the_printed_numbers_are_those_of_the_mirror_formula(name: str, row: dict[str, Any]) -> None:
    scene = read_scene(FOLDER / name)
    assert expected(name)["speed_of_sound_m_s"] == SPEED_OF_SOUND
    ear = np.array(scene.blueprint.listener.ear.coordinates)
    arrival = mirrored(axis_point(scene, row["loudspeaker"]), ear, planes(name)[row["surface"]])
    for key, axis in AXES.items():
        if key in row:
            assert arrival.point[axis] == pytest.approx(row[key], abs=0.0051), key
    if "delay_ms" in row:
        printed_to = 0.1 if row["delay_ms"] >= 12.0 else 0.01
        assert arrival.delay_ms == pytest.approx(row["delay_ms"], abs=0.51 * printed_to)
    if "level_db" in row:
        assert arrival.level_db == pytest.approx(row["level_db"], abs=0.051)
    for number, notch in enumerate(row.get("notches_hz", ())):
        # A copy that is late by t cancels where t is an odd number of half periods.
        assert (number + 0.5) / (arrival.delay_ms * 1e-3) == pytest.approx(notch, rel=0.02)


@pytest.mark.parametrize("name", [name for name in NAMES if "direct" in expected(name)])
def test_the_direct_path_is_as_long_as_printed(name: str) -> None:
    scene = read_scene(FOLDER / name)
    direct = np.linalg.norm(axis_point(scene, "left") - np.array(scene.blueprint.listener.ear.coordinates))
    assert direct == pytest.approx(expected(name)["direct"]["length_m"], abs=0.0051)


@pytest.mark.parametrize(("name", "row"), ARRIVALS, ids=IDS)
def test_a_path_reaches_is_blocked_or_misses_as_printed(name: str, row: dict[str, Any]) -> None:
    scene = read_scene(FOLDER / name)
    ear = np.array(scene.blueprint.listener.ear.coordinates)
    source = axis_point(scene, row["loudspeaker"])
    plane = planes(name)[row["surface"]]
    point = mirrored(source, ear, plane).point
    patches = [*room_patches(scene.blueprint, scene.folder).patches]
    patches += [patch for item in scene.blueprint.furniture for patch in furniture_patches(item, scene.folder)]
    triangles = np.concatenate([patch.triangles for patch in patches])
    names = np.array([patch.name for patch in patches for _ in patch.triangles])
    across = 1e-4 * plane[1] / np.linalg.norm(plane[1])
    if row["surface"] not in names[hits(point + across, point - across, triangles)]:
        status = "misses"
    else:
        short = 1e-6
        legs = hits(source, point + short * (source - point), triangles)
        legs |= hits(ear, point + short * (ear - point), triangles)
        status = "blocked" if legs.any() else "reaches"
    assert status == row["status"]
