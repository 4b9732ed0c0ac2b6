"""Ears and loudspeakers in each other, on surfaces and in furniture: one sentence each."""

from __future__ import annotations

from typing import Any

import pytest

from sim.errors import SceneError
from tests.built_scenes import block, box, built_scene_of, desk, loudspeaker

ROOM = box(5.0, 4.0, 2.6)
EAR, SOURCE = (2.8, 2.0, 1.2), (1.0, 1.2, 1.2)


def two_way(at: Any = SOURCE, name: str = "left") -> dict[str, Any]:
    return loudspeaker(at, name, model="two-way", toe_in_deg=0.0)


@pytest.mark.parametrize(
    ("sources", "ear", "words"),
    [
        ([two_way()], SOURCE, 'at a driver of the monitor "left"'),  # the tweeter is at the axis point
        ([two_way()], (0.9, 1.2, 1.2), 'inside the monitor "left"'),
        ([SOURCE], SOURCE, 'at a driver of the monitor "source 0"'),
        ([SOURCE], (1.004, 1.2, 1.2), "at a driver"),
        ([SOURCE], (2.8, 0.0, 1.2), "on the left wall"),
        ([SOURCE], (2.8, 2.0, 0.0005), "on the floor"),
        ([SOURCE], (5.0, 4.0, 2.6), "on the "),
        ([SOURCE], (2.0, 3.0, 0.74), "on the desk top"),
        ([SOURCE], (2.2, 1.5, 0.74), "on the desk"),  # on its edge
        ([SOURCE], (2.0, 3.0, 0.725), "inside the desk"),
    ],
)
def test_an_ear_that_is_nowhere_to_sit(sources: list[Any], ear: tuple[float, float, float], words: str) -> None:
    with pytest.raises(SceneError) as raised:
        built_scene_of(ROOM, sources, ear, furniture=[desk((1.5, 2.2), (1.5, 3.5), 0.74)])
    assert raised.value.where == "listener.ear"
    assert words in raised.value.found


@pytest.mark.parametrize(
    ("sources", "furniture", "words"),
    [
        ([two_way(), two_way(name="right")], [], "in the same place as the"),
        ([SOURCE, SOURCE], [], "in the same place as the"),
        ([two_way(), two_way((1.02, 1.3, 1.25), "right")], [], "in the same place as the"),
        ([SOURCE], [block((0.8, 1.3), (1.0, 1.4), (0.9, 1.2))], "on the block top"),
        ([SOURCE], [block((0.8, 1.0), (1.0, 1.2), (0.9, 1.2))], "on the block"),  # on a corner
        ([SOURCE], [block((0.0, 5.0), (0.0, 1.9), (0.0, 2.6))], "inside the block"),  # its sides are those of the room
        # a thing small enough to vanish in the box, with no edge through a side of it
        ([two_way()], [block((0.88, 0.92), (1.18, 1.22), (1.1, 1.2))], "goes through the block"),
    ],
)
def test_a_loudspeaker_that_cannot_be_there(sources: list[Any], furniture: list[Any], words: str) -> None:
    with pytest.raises(SceneError) as raised:
        built_scene_of(ROOM, sources, EAR, furniture=furniture)
    assert raised.value.where.startswith("loudspeakers[")
    assert words in raised.value.found


def test_two_millimetres_off_a_surface_is_in_the_air() -> None:
    table = desk((1.5, 2.2), (1.5, 3.5), 0.74)
    built_scene_of(ROOM, [SOURCE], (2.0, 3.0, 0.742), furniture=[table])
    built_scene_of(ROOM, [(1.9, 2.0, 0.742)], EAR, furniture=[table])
    built_scene_of(ROOM, [two_way((0.232, 1.2, 1.2))], EAR)  # its back all but at the front wall


@pytest.mark.parametrize(("unit", "depth"), [("m", "12 cm"), ("in", "4 3/4 in")])
def test_how_far_a_cabinet_is_in_the_desk_is_told_in_the_unit_of_the_scene(unit: str, depth: str) -> None:
    """A cabinet whose foot is 12 cm below the top has to rise by 12 cm."""
    table = desk((0.5, 1.3), (0.5, 3.5), 0.74)
    # a generic two-way is 29 cm high and its tweeter 7 cm below the upper edge, or as its model says
    standing = built_scene_of(ROOM, [two_way((1.0, 1.2, 1.6))], EAR, furniture=[table], units=unit)
    corners = standing.loudspeakers[0].corners
    assert corners is not None
    low = 1.6 - float(corners[:, 2].min())
    with pytest.raises(SceneError) as raised:
        built_scene_of(ROOM, [two_way((1.0, 1.2, 0.74 - 0.12 + low))], EAR, furniture=[table], units=unit)
    assert "goes through the desk" in raised.value.found
    assert raised.value.found.endswith(f" by {depth}")


@pytest.mark.parametrize(("unit", "words"), [("m", "by 3 cm"), ("in", "by 1 1/4 in")])
def test_how_far_a_cabinet_is_in_a_wall(unit: str, words: str) -> None:
    free = built_scene_of(ROOM, [two_way((1.0, 1.2, 1.2))], EAR).loudspeakers[0].corners
    assert free is not None
    left = 1.2 - float(free[:, 1].min())
    with pytest.raises(SceneError, match=f"goes through the left wall {words}"):
        built_scene_of(ROOM, [two_way((1.0, left - 0.03, 1.2))], EAR, units=unit)


def test_places_are_told_in_inches_to_someone_who_measured_in_inches() -> None:
    with pytest.raises(SceneError, match=r"from_front 9 ft 2 1/4 in, from_left 6 ft 6 3/4 in, up 0 in is on the floor"):
        built_scene_of(ROOM, [SOURCE], (2.8, 2.0, 0.0005), units="ft")
