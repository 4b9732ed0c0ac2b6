"""Left comes out left: every table and text of a lopsided room against that of its mirror image, and against a tape."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sim.placement.built_scene import build_scene
from sim.placement.sheet import setup_sheet
from sim.showing.archive.results import read_results
from sim.showing.tables import write_traced
from sim.studies.check.text import setup_lines
from sim.studies.explain.explanation import explain
from sim.studies.explain.text import explanation_lines
from tests.rooms.lopsided import (
    DEPTH,
    DESK_WIDTH,
    HEIGHT,
    SCENE,
    WIDTH,
    scene_file,
    seen_again,
    sorted_edges,
    swapped,
    traced,
)

Row = dict[str, str]
ACROSS_M = {"desk top": DESK_WIDTH}
"""How wide surfaces are on which the second tape counts from the left; all others are as wide as the room."""
NEAR = {"_m": 2e-3, "_ms": 2e-3, "_db": 0.05, "_deg": 0.02, "_hz": 1.0}
"""Rounding of the tables, and the last step of the search for a point on an edge."""
FAINT_DB = -60.0
RAYS_DB = 0.3
"""The late part of `with_room_db` is that of some thousand rays, which start in other directions behind the mirror."""


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[bool, Path]:
    made = {mirror: tmp_path_factory.mktemp(f"mirror-{mirror}") for mirror in (False, True)}
    for mirror, folder in made.items():
        write_traced(traced(mirror), folder)
    return made


def table(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def turned(row: Row) -> Row:
    """A row of the mirrored room as the room itself must have it."""
    made = {}
    for key, cell in row.items():
        if key.endswith("azimuth_deg") and cell:
            made[key] = str(-float(cell))
        elif key == "from_left_m":
            made[key] = str(WIDTH - float(cell))
        elif key == "tape_2_m" and "left" in row["tape_2_from"]:
            made[key] = str(ACROSS_M.get(row["surface"], WIDTH) - float(cell))
        elif key == "tape_2_from":
            made[key] = cell
        elif key.endswith("_text"):
            made[key] = ""  # the same lengths once more, tested by themselves
        else:
            made[key] = sorted_edges(swapped(cell))
    return made


def same(one: Row, other: Row) -> list[str]:
    """Names of the columns in which two rows differ."""
    odd = []
    for key, cell in one.items():
        unit = next((unit for unit in NEAR if key.endswith(unit)), "")
        if not unit or not (cell and other[key]):
            faint = unit == "_db" and all(not text or float(text) < FAINT_DB for text in (cell, other[key]))
            odd += [key] * (cell != other[key] and not faint)
        elif abs(float(cell) - float(other[key])) > (RAYS_DB if key == "with_room_db" else NEAR[unit]):
            faint = unit == "_db" and max(float(cell), float(other[key])) < FAINT_DB
            around = key.endswith("azimuth_deg") and 360.0 - abs(float(cell) - float(other[key])) < NEAR[unit]
            odd += [key] * (not faint and not around)
    return odd


KEYS = {
    "arrivals.csv": ("loudspeaker", "listener", "driver", "via"),
    "reflection_points.csv": ("loudspeaker", "listener", "driver", "surface"),
    "notches.csv": ("loudspeaker", "listener", "frequency_hz", "present"),
    "ear_response.csv": ("loudspeaker", "listener", "driver", "without", "without_kind", "third_octave_hz"),
}


@pytest.mark.parametrize("name", KEYS)
def test_tables_of_the_mirrored_room_are_mirrored(name: str, folders: dict[bool, Path]) -> None:
    ours, theirs = (table(folders[mirror] / name) for mirror in (False, True))
    assert ours and len(ours) == len(theirs)
    keys = [key for key in KEYS[name] if key in ours[0]]
    assert len(keys) >= 4
    texts = [key for key in ours[0] if key.endswith("_text")]
    expected = {tuple(row[key] for key in keys): row for row in map(turned, theirs)}
    assert len(expected) == len(theirs)
    for row in ours:
        plain = {key: "" if key in texts else sorted_edges(cell) for key, cell in row.items()}
        odd = same(plain, expected[tuple(plain[key] for key in keys)])
        assert not set(odd) - {"number"}, (odd, row)


@cache
def reflections(folder: Path) -> dict[tuple[str, str, str], Row]:
    rows = table(folder / "reflection_points.csv")
    return {(row["loudspeaker"], row["driver"], row["surface"]): row for row in rows}


def test_reflection_points_lie_where_a_tape_finds_them(folders: dict[bool, Path]) -> None:
    """The tweeter of the left one 1.00 m from the left wall, the ear 1.70 m: the image source by hand."""
    rows = reflections(folders[False])
    walls = {
        "window": ("from_left_m", 0.0),
        "right wall": ("from_left_m", WIDTH),
        "floor": ("up_m", 0.0),
        "ceiling": ("up_m", HEIGHT),
        "rear wall": ("from_front_m", DEPTH),
        "front wall": ("from_front_m", 0.0),
    }
    for surface, (column, value) in walls.items():
        found = [row for (_, _, name), row in rows.items() if name == surface]
        assert found and all(float(row[column]) == pytest.approx(value, abs=1e-4) for row in found)
    source, ear = np.array([0.8, 1.0, 1.15]), np.array([2.1, 1.7, 1.2])
    depth, _, up = source + 1.0 / (1.0 + 1.7) * (ear - source)
    window = rows["left", "tweeter", "window"]
    assert [float(window[key]) for key in ("from_front_m", "up_m")] == pytest.approx([depth, up], abs=1e-4)
    assert [window["tape_1_from"], window["tape_2_from"]] == ["up from the floor", "from the front wall"]
    assert [float(window[key]) for key in ("tape_1_m", "tape_2_m")] == pytest.approx([up, depth], abs=1e-4)
    assert [window["corner_1"], window["corner_2"]] == ["front left floor", "front left ceiling"]
    to_corners = [np.hypot(depth, up), np.hypot(depth, HEIGHT - up)]
    assert [float(window["corner_1_m"]), float(window["corner_2_m"])] == pytest.approx(to_corners, abs=1e-4)
    ceiling = rows["left", "tweeter", "ceiling"]
    across = float(ceiling["from_left_m"])
    assert ceiling["tape_2_from"] == "from the left wall" and float(ceiling["tape_2_m"]) == pytest.approx(across)
    assert ceiling["corner_1"] == "front left ceiling"
    assert float(ceiling["corner_1_m"]) == pytest.approx(np.hypot(float(ceiling["from_front_m"]), across), abs=1e-3)
    desk = rows["left", "tweeter", "desk top"]
    assert float(desk["tape_2_m"]) < 0.5 * DESK_WIDTH and desk["tape_2_from"] == "from its left edge"
    assert desk["corner_2"].startswith("far left") or desk["corner_1"].startswith("far left")


def test_written_lengths_are_the_numbers_beside_them(folders: dict[bool, Path]) -> None:
    for row in table(folders[False] / "reflection_points.csv"):
        for key in [key for key in row if key.endswith("_text") and row[key]]:
            assert float(row[key].removesuffix(" m")) == pytest.approx(float(row[f"{key[:-5]}_m"]), abs=6e-4), key


def test_directions_of_arrivals_are_those_a_compass_shows(folders: dict[bool, Path]) -> None:
    """Azimuth is positive to the right, elevation upward; everything else follows from points known by tape."""
    ear = np.array(list(SCENE["listener"]["ear"].values()))
    results = traced(False)
    seen = {"left": 0, "right": 0, "up": 0, "down": 0}
    for arrival in results.responses.arrivals:
        for part in arrival.parts:
            if not len(part.points):
                continue
            depth, across, up = part.points[-1] - ear
            azimuth = np.degrees(np.arctan2(across, -depth))
            elevation = np.degrees(np.arctan2(up, np.hypot(depth, across)))
            assert part.arrival_azimuth_deg == pytest.approx(azimuth, abs=1e-6), arrival.via
            assert part.arrival_elevation_deg == pytest.approx(elevation, abs=1e-6), arrival.via
            if arrival.diffracted:
                seen["left" if azimuth < -5.0 else "right"] += 1
                seen["down" if elevation < -5.0 else "up"] += 1
    assert min(seen.values()) >= 5
    rows = {
        row["via"]: row
        for row in table(folders[False] / "arrivals.csv")
        if row["loudspeaker"] == "left" and row["driver"] == "all"
    }
    assert float(rows["window"]["arrival_azimuth_deg"]) < -60.0
    assert float(rows["right wall (side panel)"]["arrival_azimuth_deg"]) > 60.0
    assert float(rows["ceiling (cloud)"]["arrival_elevation_deg"]) > 50.0
    rack = rows["rack, edge of top and left side"]
    # its edge 0.5 m from the left wall and 1.05 m up: left of the ear and below it
    assert -135.0 < float(rack["arrival_azimuth_deg"]) < -45.0 and -15.0 < float(rack["arrival_elevation_deg"]) < -5.0


def ranks(way: str, loudspeaker: str, mirror: bool) -> int:
    wanted = (swapped(loudspeaker), sorted_edges(swapped(way))) if mirror else (loudspeaker, sorted_edges(way))
    (number,) = (
        arrival.number
        for arrival in traced(mirror).responses.arrivals
        if (arrival.loudspeaker, sorted_edges(arrival.via)) == wanted
    )
    return number


EXPLAINED = [
    ("left", "direct"),
    ("right", "direct"),
    ("left", "window"),
    ("right", "window"),
    ("left", "desk top"),
    ("right", "right wall (side panel)"),
    ("left", "ceiling (cloud)"),
    ("left", "desk, edge of top and left side"),
    ("left", "rack, edge of top and left side"),
    ("right", "desk, edge of top and far side"),
]


@pytest.mark.parametrize(("loudspeaker", "way"), EXPLAINED)
def test_explanations_say_the_same_with_sides_swapped(loudspeaker: str, way: str) -> None:
    said = []
    for mirror in (False, True):
        who = swapped(loudspeaker) if mirror else loudspeaker
        explained = explain(traced(mirror), who, "ear", ranks(way, loudspeaker, mirror))
        lines = explanation_lines(traced(mirror), explained)
        said.append([" ".join((seen_again if mirror else sorted_edges)(line).split()) for line in lines])
    for line, other in zip(*said, strict=True):
        assert line == other


def test_explanation_of_the_window_says_what_a_tape_finds() -> None:
    lines = "\n".join(
        explanation_lines(traced(False), explain(traced(False), "left", "ear", ranks("window", "left", False)))
    )
    assert "from_front 1.281 m, from_left 0.000 m, up 1.169 m" in lines
    assert "reaches the ear from 64 degrees to the left of straight ahead" in lines
    # left loudspeaker turned 20 degrees inward and 3 down, the ear 28 degrees inward of straight on and 2 up
    assert "the ear lies 10 degrees off its axis (8 to the right, 5 up)" in lines
    assert "degrees to the left of straight ahead, 1 down" in lines
    explained = explain(traced(False), "left", "ear", ranks("desk top", "left", False))
    desk = "\n".join(explanation_lines(traced(False), explained))
    assert "(8 to the right, 28 down)" in desk and "off its left edge" in desk
    assert "degrees to the left of straight ahead, 31 down" in desk
    right = explanation_lines(traced(False), explain(traced(False), "right", "ear", ranks("direct", "right", False)))
    assert any("the ear lies 0 degrees off its axis" in line for line in right)
    # the axis turns 20 degrees inward, which is to the right; the ear lies 28 degrees to the right of straight on
    assert explained.toward_ear.sideways_deg == pytest.approx(np.degrees(np.arctan2(0.7, 1.3)) - 20.0, abs=0.5)
    (furnishing,) = explained.furnishings
    sides = {way.direction: way.amount for way in furnishing.ways if way.kind == "cut"}
    point = explained.touches[0].point
    assert point[1] < 1.6  # left of the middle of the desk: its left edge is the nearer one
    assert any("left" in direction for direction in sides)


def test_set_up_sheets_say_the_same_with_sides_swapped() -> None:
    said, pairs = [], []
    for mirror in (False, True):
        scene = scene_file(mirror, two_seats=True)
        built = build_scene(scene.blueprint, Path())
        sheet = setup_sheet(built)
        lines = setup_lines(scene, built, sheet)[1:]
        pairs.append(sheet.pairs[0])
        # what is said of a pair names the left one first in both rooms
        lines = [
            line for line in lines if not any(word in line for word in ("differ", "unequal", "symmetric", " - right"))
        ]
        lines = [(seen_again if mirror else sorted_edges)(line) for line in lines]
        # a line lists what lies to the left before what lies to the right
        said.append(sorted(", ".join(sorted(" ".join(line.split()).split(", "))) for line in lines))
    assert said[0] == said[1] and len(said[0]) > 30
    ours, theirs = pairs
    assert [ours.base_m, ours.angle_at_seat_deg] == pytest.approx([theirs.base_m, theirs.angle_at_seat_deg])
    assert ours.difference_mm == pytest.approx(-theirs.difference_mm)
    assert ours.difference_mm > 50.0 and len(ours.asymmetries) == len(theirs.asymmetries)


def test_set_up_sheet_measures_what_a_tape_does() -> None:
    built = build_scene(scene_file(False, two_seats=True).blueprint, Path())
    left, right = setup_sheet(built).loudspeakers
    assert (left.side, right.side) == ("left", "right")
    assert left.distance_to_m["left"] == (pytest.approx(1.0), "left wall")
    assert right.distance_to_m["right"] == (pytest.approx(WIDTH - 2.5), "right wall")
    assert left.distance_to_m["up"][0] == pytest.approx(HEIGHT - 1.15)
    assert left.toe_in_error_deg == pytest.approx(np.degrees(np.arctan2(0.7, 1.3)) - 20.0)


def test_the_box_stands_beside_its_axis_as_it_was_measured() -> None:
    """Upright and straight on: axis 0.10 m right of the middle of a front 0.34 m wide, 0.13 m above its lower edge."""
    scene = {
        **SCENE,
        "loudspeakers": [
            {"name": name, "model": "skewed", "acoustic_axis": at, "toe_in_deg": 0.0}
            for name, at in (
                ("left", {"from_front": 0.8, "from_left": 1.0, "up": 1.15}),
                ("right", {"from_front": 0.8, "from_left": 2.6, "up": 1.15}),
            )
        ],
    }
    for one, across in zip(_staged(scene).loudspeakers, (1.0, 2.6), strict=True):
        corners = one.corners
        assert corners is not None
        low, high = corners.min(axis=0), corners.max(axis=0)
        assert low == pytest.approx([0.8 - 0.26, across - 0.10 - 0.17, 1.02])
        assert high == pytest.approx([0.8, across - 0.10 + 0.17, 1.24])
        woofer, tweeter = one.driver_points
        assert woofer == pytest.approx([0.8, across - 0.17, 1.11])
        assert tweeter == pytest.approx([0.8, across, 1.15])


def _staged(scene: dict[str, object]):  # type: ignore[no-untyped-def]
    import tomli_w

    from sim.blueprint.reader import parse_scene

    return build_scene(parse_scene(tomli_w.dumps(scene), Path()).blueprint, Path())


def test_maps_and_stored_results_are_mirrored(folders: dict[bool, Path]) -> None:
    ours, theirs = (read_results(folders[mirror] / "results.h5") for mirror in (False, True))
    maps = {swapped(each.surface): each for each in theirs.responses.maps}
    assert maps
    for each in ours.responses.maps:
        other = maps[each.surface]
        flipped = other.points * [1.0, -1.0, 1.0] + [0.0, WIDTH, 0.0]
        order = [int(np.argmin(np.linalg.norm(flipped - point, axis=1))) for point in each.points]
        away = np.linalg.norm(flipped[order] - each.points, axis=1)
        assert away.max() < 0.5 * each.grid_m * np.sqrt(2.0) + 1e-6
        if away.max() < 1e-6:
            swap = other.level_db[:, :, order]
            assert np.maximum(each.level_db, -60.0) == pytest.approx(np.maximum(swap, -60.0), abs=0.3)
        mirror = other.mirror_points * [1.0, -1.0, 1.0] + [0.0, WIDTH, 0.0]
        assert np.nan_to_num(each.mirror_points) == pytest.approx(np.nan_to_num(mirror), abs=1e-6)
    flip = np.array([1.0, -1.0, 1.0])
    for one, other_one in zip(ours.built.loudspeakers, theirs.built.loudspeakers, strict=True):
        assert one.driver_points == pytest.approx(other_one.driver_points * flip + [0.0, WIDTH, 0.0])
        assert one.axis_point == pytest.approx(other_one.axis_point * flip + [0.0, WIDTH, 0.0])
    assert ours.built.ears == pytest.approx(theirs.built.ears * flip + [0.0, WIDTH, 0.0])
    total, other_total = (np.abs(each.responses.response.total) for each in (ours, theirs))
    assert total == pytest.approx(
        other_total, abs=9e-3
    )  # a turned desk has no mirrored elements: 0.007 to 0.008 at 586 Hz
    shown = ours.responses.energy_time.broadband_db > -40.0
    assert ours.responses.energy_time.broadband_db[shown] == pytest.approx(
        theirs.responses.energy_time.broadband_db[shown], abs=0.1
    )
    assert ours.paths.points[0, 0] == pytest.approx(traced(False).paths.points[0, 0], nan_ok=True)
    by_row = {
        (
            swapped(theirs.built.loudspeakers[int(theirs.paths.loudspeaker[k])].name),
            int(theirs.paths.driver[k]),
            tuple(swapped(theirs.built.room.facets[f].name) for f in theirs.paths.facets[k] if f >= 0),
        ): k
        for k in range(len(theirs.paths))
    }
    for k in range(len(ours.paths)):
        names = tuple(ours.built.room.facets[f].name for f in ours.paths.facets[k] if f >= 0)
        who = ours.built.loudspeakers[int(ours.paths.loudspeaker[k])].name
        j = by_row[who, int(ours.paths.driver[k]), names]
        assert ours.paths.arrival[k] == pytest.approx(theirs.paths.arrival[j] * flip, abs=1e-6)
        assert ours.paths.departure[k] == pytest.approx(theirs.paths.departure[j] * flip, abs=1e-6)
