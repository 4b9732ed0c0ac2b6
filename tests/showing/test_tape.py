from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.reader import parse_scene
from sim.geometry.room import Room
from sim.placement.built_scene import build_scene
from sim.responses.records import Results
from sim.showing.tape import TapeReading, tape_coordinates
from tests.room_texts import desk_text, room_text

BOX = room_text(
    (3.40, 4.20, 2.40),
    (1.60, 1.70, 1.20),
    {"left": (0.42, 1.08, 1.22)},
    more=desk_text((1.0, 1.8), (1.2, 2.8), 0.74, "turn_deg = %s", name=""),
)


def box_room(turn_deg: float = 0.0) -> Room:
    scene = parse_scene(BOX % turn_deg, Path("demo"))
    return build_scene(scene.blueprint, scene.folder).room


@pytest.fixture(scope="module")
def box() -> Room:
    return box_room()


def reading(room: Room, surface: str, point: tuple[float, float, float]) -> TapeReading:
    return tape_coordinates(room, room.facet_numbers(surface)[0], np.array(point))


def test_a_point_on_a_slope_is_found_up_the_slope(traced_attic: Results) -> None:
    # 0.99 m across on a 45 degree slope is 0.99 sqrt(2) = 1.400 m along it.
    tape = reading(traced_attic.built.room, "left slope", (1.22, 0.99, 2.04))
    assert tape.first_m == pytest.approx(1.400, abs=5e-4)
    assert tape.first_from == "up the slope from the left knee wall"
    assert tape.second_m == pytest.approx(1.22, abs=1e-6)
    assert tape.second_from == "from the front gable"
    # Corners of the slope: (0, 0, 1.05), (0, 1.55, 2.60) and their like at the rear, in (depth, across, up).
    (upper, upper_m), (lower, lower_m) = tape.corners
    assert upper == "upper front corner of left slope"
    assert upper_m == pytest.approx(np.hypot(1.22, 0.56 * np.sqrt(2.0)), abs=1e-3)
    assert lower == "lower front corner of left slope"
    assert lower_m == pytest.approx(np.hypot(1.22, 0.99 * np.sqrt(2.0)), abs=1e-3)


def test_a_flat_strip_is_measured_from_the_slope_beside_it(traced_attic: Results) -> None:
    tape = reading(traced_attic.built.room, "ceiling", (1.38, 1.90, 2.60))
    assert (tape.first_from, tape.second_from) == ("from the front gable", "from the left slope")
    assert (tape.first_m, tape.second_m) == (pytest.approx(1.38), pytest.approx(0.35))


def test_a_window_is_measured_on_the_wall_it_is_in(traced_attic: Results) -> None:
    tape = reading(traced_attic.built.room, "gable window", (5.40, 2.20, 1.50))
    assert tape.surface == "gable window"
    assert (tape.first_m, tape.first_from) == (pytest.approx(1.50), "up from the floor")
    assert (tape.second_m, tape.second_from) == (pytest.approx(2.20), "from the left knee wall")
    assert all(name.endswith("corner of rear gable") for name, _ in tape.corners)


@pytest.mark.parametrize(
    ("surface", "point", "first", "second", "corner"),
    [
        ("left wall", (0.9, 0.0, 1.2), (1.2, "up from the floor"), (0.9, "from the front wall"), "front left"),
        ("right wall", (0.9, 3.4, 1.2), (1.2, "up from the floor"), (0.9, "from the front wall"), "front right"),
        ("front wall", (0.0, 1.2, 1.1), (1.1, "up from the floor"), (1.2, "from the left wall"), "front left"),
        ("rear wall", (4.2, 2.4, 1.1), (1.1, "up from the floor"), (2.4, "from the left wall"), "rear right"),
        ("ceiling", (1.0, 1.4, 2.4), (1.0, "from the front wall"), (1.4, "from the left wall"), "front left"),
        ("floor", (3.0, 2.4, 0.0), (3.0, "from the front wall"), (2.4, "from the left wall"), "rear right"),
        ("desk top", (1.3, 1.5, 0.74), (0.3, "from its far edge"), (0.3, "from its left edge"), "far left"),
        ("desk left side", (1.3, 1.2, 0.73), (0.02, "up from its lower edge"), (0.3, "from its far edge"), "upper far"),
    ],
)
def test_each_surface_of_a_box_has_its_lines(
    box: Room,
    surface: str,
    point: tuple[float, float, float],
    first: tuple[float, str],
    second: tuple[float, str],
    corner: str,
) -> None:
    tape = reading(box, surface, point)
    assert (tape.first_m, tape.first_from) == (pytest.approx(first[0], abs=2e-6), first[1])
    assert (tape.second_m, tape.second_from) == (pytest.approx(second[0], abs=2e-6), second[1])
    assert tape.corners[0][0].startswith(corner)


def test_corners_of_a_box_room_are_named_by_walls_floor_and_ceiling(box: Room) -> None:
    names = [name for name, _ in reading(box, "left wall", (0.9, 0.0, 1.1)).corners]
    assert names == ["front left floor", "front left ceiling"]
    names = [name for name, _ in reading(box, "right wall", (3.9, 3.4, 1.3)).corners]
    assert names == ["rear right ceiling", "rear right floor"]


def test_a_turned_desk_is_measured_along_its_own_edges() -> None:
    room = box_room(turn_deg=20.0)
    turn = np.radians(20.0)
    along = np.array([np.cos(turn), np.sin(turn), 0.0])
    across = np.array([-np.sin(turn), np.cos(turn), 0.0])
    far_left = np.array([1.4, 2.0, 0.74]) - 0.4 * along - 0.8 * across
    tape = tape_coordinates(room, room.facet_numbers("desk top")[0], far_left + 0.25 * along + 0.60 * across)
    assert (tape.first_m, tape.first_from) == (pytest.approx(0.25, abs=1e-5), "from its far edge")
    assert (tape.second_m, tape.second_from) == (pytest.approx(0.60, abs=1e-5), "from its left edge")
    assert tape.corners[0] == ("far left corner of desk top", pytest.approx(0.65, abs=1e-5))


@given(st.floats(0.0, 4.2), st.floats(0.0, 2.4), st.sampled_from(["left wall", "right wall"]))
def test_left_stays_left_and_distances_lead_back_to_the_point(depth: float, up: float, wall: str) -> None:
    across = 0.0 if wall == "left wall" else 3.4
    tape = reading(SHARED, wall, (depth, across, up))
    assert (tape.second_m, tape.first_m) == (pytest.approx(depth, abs=2e-6), pytest.approx(up, abs=2e-6))
    side = wall.split()[0]
    for name, distance in tape.corners:
        end, own_side, level = name.split()
        assert own_side == side
        corner = np.array([4.2 if end == "rear" else 0.0, across, 2.4 if level == "ceiling" else 0.0])
        assert distance == pytest.approx(float(np.linalg.norm(corner - [depth, across, up])), abs=5e-6)


SHARED = box_room()
