"""What cannot be is refused with the key at fault; what only touches is not."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.errors import SceneError
from sim.geometry.room import build_room
from sim.placement.in_air import not_in_air
from tests.built_scenes import block, box, built_scene_of, desk, loudspeaker
from tests.geometry.furnished import box_patches

ROOM = box(5.0, 4.0, 2.6)
EAR = (2.6, 2.0, 1.2)
SOURCE = (1.0, 1.2, 1.2)
AXIS = "loudspeakers[0].acoustic_axis"
TABLE = desk((0.9, 1.9), (0.5, 3.5), 0.74)


def two_way(at: Any = SOURCE, name: str = "left", **more: Any) -> dict[str, Any]:
    return loudspeaker(at, name, model="two-way", **more)


@pytest.mark.parametrize(
    ("sources", "ear", "furniture", "key", "words"),
    [
        ([two_way()], (2.6, 2.0, 0.5), [block((2.0, 3.0), (1.0, 3.0), (0.0, 1.0))], "listener.ear", "inside the block"),
        ([two_way()], (2.6, 2.0, 0.725), [desk((2.0, 3.0), (1.0, 3.0), 0.74)], "listener.ear", "inside the desk"),
        ([two_way()], (5.3, 2.0, 1.2), [], "listener.ear", "outside the room"),
        ([two_way()], (2.6, 2.0, -0.2), [], "listener.ear", "outside the room"),
        ([loudspeaker((1.0, 1.2, 0.5))], EAR, [block((0.5, 1.5), (1.0, 1.5), (0.0, 1.0))], AXIS, "inside the block"),
        ([loudspeaker((1.0, -0.3, 1.2))], EAR, [], AXIS, "outside the room"),
        # the tweeter is in the air, the woofer in the floor
        ([two_way((1.0, 1.2, 0.1))], EAR, [], AXIS, "the woofer"),
        # back through the front wall, side through the left wall
        ([two_way((0.1, 1.2, 1.2), toe_in_deg=0.0)], EAR, [], AXIS, "front wall"),
        ([two_way((1.0, 0.05, 1.2), toe_in_deg=0.0)], EAR, [], AXIS, "left wall"),
        # upright through a plate whose edges are all far away
        ([two_way((1.4, 2.0, 0.93))], EAR, [TABLE], AXIS, "desk"),
        # a thin bar that pokes into the box between its edges
        ([two_way(toe_in_deg=0.0)], EAR, [block((0.6, 0.85), (1.19, 1.21), (1.05, 1.06))], AXIS, "block"),
        # two boxes into each other: the first is told, with the name of the other
        ([two_way(), two_way((1.05, 1.3, 1.25), "right")], EAR, [], AXIS, "right loudspeaker"),
    ],
)
def test_refused(
    sources: list[dict[str, Any]], ear: tuple[float, float, float], furniture: list[Any], key: str, words: str
) -> None:
    with pytest.raises(SceneError) as raised:
        built_scene_of(ROOM, sources, ear, furniture=furniture)
    assert raised.value.where == key
    assert words in raised.value.found
    assert len(raised.value.remedy) > 10


def test_a_second_seat_is_told_by_its_own_key() -> None:
    sofa = {"second_seat": {"name": "sofa", "ear": {"from_front": 5.4, "from_left": 2.0, "up": 1.0}}}
    with pytest.raises(SceneError) as raised:
        built_scene_of(ROOM, [two_way()], EAR, listener=sofa)
    assert raised.value.where == "listener.second_seat.ear"


@pytest.mark.parametrize(
    ("source", "furniture"),
    [
        (two_way((1.2, 1.2, None), standing="desk"), [TABLE]),
        (two_way((1.2, 1.2, None), standing="desk", tilt_deg=7.0), [TABLE]),
        (two_way((1.2, 1.2, 0.74 + 0.22), toe_in_deg=0.0), [TABLE]),
        (two_way((1.0, 1.2, 0.22), toe_in_deg=0.0), []),  # on the floor
        (two_way((0.23, 1.2, 1.2), toe_in_deg=0.0), []),  # back flush against the front wall
        (two_way((0.23, 0.09, 0.22), toe_in_deg=0.0), []),  # in the corner, on the floor
        (two_way((1.0, 1.2, 2.53), toe_in_deg=0.0), []),  # against the ceiling
        (two_way((0.6, 1.2, 1.0), toe_in_deg=0.0), [block((0.6, 0.7), (0.5, 3.5), (0.0, 0.78))]),  # in front of a shelf
    ],
)
def test_touching_is_not_piercing(source: dict[str, Any], furniture: list[Any]) -> None:
    built_scene_of(ROOM, [source], EAR, furniture=furniture)


def test_boxes_side_by_side_do_not_collide() -> None:
    pair = [two_way((1.0, 1.20, 1.2), toe_in_deg=0.0), two_way((1.0, 1.38, 1.2), "right", toe_in_deg=0.0)]
    built_scene_of(ROOM, pair, EAR)


def test_not_in_air_agrees_with_the_sizes_of_boxes() -> None:
    """Random points in a room with two blocks: outside, in a block, or in the air."""
    blocks = {"low": ((1.0, 1.0, 0.0), (2.0, 2.5, 0.8)), "high": ((3.0, 0.5, 1.0), (3.2, 3.5, 1.9))}
    patches = box_patches(np.zeros(3), np.array([5.0, 4.0, 2.6]), "room", inward=True)
    for name, (low, high) in blocks.items():
        patches += box_patches(np.array(low), np.array(high), name)
    room = build_room(patches)
    rng = np.random.default_rng(6)
    for point in rng.uniform(-0.5, [5.5, 4.5, 3.1], (2000, 3)):
        expected = ""
        if not ((point > 0.0) & (point < [5.0, 4.0, 2.6])).all():
            expected = "outside the room"
        for name, (low, high) in blocks.items():
            if ((point > low) & (point < high)).all():
                expected = f"inside the {name}"
        assert not_in_air(room, point, -1) == expected
