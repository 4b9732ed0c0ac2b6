from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene, with_second_seat
from sim.errors import SceneError
from sim.placement.built_scene import build_scene
from tests.studies.little_room import little_room


def test_the_seat_is_where_it_was_told() -> None:
    scene = with_second_seat(little_room(), ["3.2", "120 cm", "3 ft"])
    built = build_scene(scene.blueprint, scene.folder)
    assert built.listener_names == ("ear", "second seat")
    assert built.ears[1] == pytest.approx([3.2, 1.2, 0.9144])
    assert "from_front 3.2 m, from_left 1.2 m, up 0.9144 m" in scene.warnings[-1]
    assert little_room().blueprint.listener.second_seat is None


def test_bare_numbers_are_in_the_unit_of_the_scene() -> None:
    scene = parse_scene(
        """
        units = "cm"
        [room]
        box = { width = 340, depth = 420, height = 240 }
        [listener]
        ear = { from_front = 160, from_left = 170, up = 120 }
        [[loudspeakers]]
        name = "one"
        model = "point"
        acoustic_axis = { from_front = 60, from_left = 110, up = 120 }
        """,
        Path("nowhere"),
    )
    seat = with_second_seat(scene, ["320", "120", "110"]).blueprint.listener.second_seat
    assert seat is not None
    assert seat.ear.coordinates == pytest.approx((3.2, 1.2, 1.1))


@pytest.mark.parametrize("place", [["far", "1", "1"], ["1", "1 lightyear", "1"], ["1", "1", "nan"]])
def test_what_is_no_length_is_refused(place: list[str]) -> None:
    with pytest.raises(SceneError, match=r"second seat, (from_front|from_left|up)"):
        with_second_seat(little_room(), place)


def test_a_seat_outside_the_room_is_refused_with_the_stage() -> None:
    scene = with_second_seat(little_room(), ["9", "1", "1"])
    with pytest.raises(SceneError, match="second_seat"):
        build_scene(scene.blueprint, scene.folder)
