"""What a loudspeaker stands on."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.blueprint.furniture.block import Block
from sim.blueprint.furniture.desk import Desk
from sim.errors import SceneError
from sim.placement.supports import covers, support_top_m
from tests.built_scenes import block, blueprint_of, box, desk, loudspeaker

ROOM = box(5.0, 4.0, 2.6)
EAR = (2.4, 2.0, 1.2)


def top(record: dict[str, Any], *furniture: dict[str, Any]) -> float:
    blueprint = blueprint_of(ROOM, [record], EAR, furniture=list(furniture))
    return support_top_m(blueprint, 0, blueprint.loudspeakers[0])


def on_desk(at: tuple[float, float], **more: Any) -> dict[str, Any]:
    return loudspeaker((*at, None), model="two-way", standing="desk", **more)


TABLE = desk((0.5, 1.2), (0.5, 3.5), 0.74)
SHELF = block((0.5, 0.8), (0.5, 3.5), (0.74, 0.90), kind="shelf")


def test_a_stand_a_desk_and_nothing() -> None:
    assert top(loudspeaker((1.0, 1.0, None), standing="stand", stand_height=0.95)) == 0.95
    assert top(loudspeaker((1.0, 1.0, 1.2))) == 0.0
    assert top(on_desk((0.9, 1.0)), TABLE) == 0.74


def test_the_highest_below_unless_one_is_named() -> None:
    assert top(on_desk((0.6, 1.0)), TABLE, SHELF) == 0.90
    assert top(on_desk((1.0, 1.0)), TABLE, SHELF) == 0.74
    assert top(on_desk((0.6, 1.0), stands_on="desk"), TABLE, SHELF) == 0.74


def test_a_beam_above_carries_nothing() -> None:
    """A monitor on a desk was lifted on top of the beam over it."""
    beam = block((0.5, 0.8), (0.0, 4.0), (2.3, 2.6), kind="beam", name="beam")
    assert top(on_desk((0.6, 1.0)), TABLE, beam) == 0.74
    assert top(on_desk((0.6, 1.0), stands_on="beam"), TABLE, beam) == 2.6


@pytest.mark.parametrize(
    ("record", "furniture", "words"),
    [
        (on_desk((0.9, 1.0)), [], "a desk, shelf or bridge"),
        (on_desk((1.3, 1.0)), [TABLE], "a desk, shelf or bridge"),
        (on_desk((1.0, 1.0), stands_on="shelf"), [TABLE, SHELF], '"shelf"'),
        (on_desk((0.9, 1.0), stands_on="piano"), [TABLE], '"piano"'),
    ],
)
def test_nothing_below_is_told_with_the_key(record: dict[str, Any], furniture: list[Any], words: str) -> None:
    with pytest.raises(SceneError, match=r"loudspeakers\[0\]\.standing") as raised:
        top(record, *furniture)
    assert words in raised.value.found
    assert "stand_height" in raised.value.remedy


def test_a_tilted_top_is_higher_toward_its_far_edge() -> None:
    table = Desk(kind="desk", from_front=(1.0, 2.0), from_left=(1.0, 2.0), top=0.7, tilt_deg=45.0)
    assert table.top_at(2.0, 1.5) == pytest.approx(0.7)
    assert table.top_at(1.25, 1.5) == pytest.approx(1.45)
    assert table.top_at(2.04, 1.5) == pytest.approx(0.7)
    assert table.top_at(0.96, 1.5) == pytest.approx(1.7)  # a box that leans over the far edge rests on it


@pytest.mark.parametrize("turn", [-90.0, -35.0, 20.0, 180.0])
def test_a_box_stands_on_a_desk_that_is_tilted_and_turned(turn: float) -> None:
    """Its lowest corner is as high as what a plumb line from its axis point meets below it."""
    from sim.geometry.room import first_hit
    from tests.built_scenes import built_scene_of

    table = desk((1.6, 3.0), (1.2, 2.8), 0.74, tilt_deg=9.0, turn_deg=turn)
    box_ = loudspeaker((2.05, 1.8, None), model="point", standing="desk", pad=0.1)
    built = built_scene_of(ROOM, [box_], (4.4, 2.0, 1.2), furniture=[table])
    axis = built.loudspeakers[0].axis_point
    fall, met = first_hit(built.room, np.array([axis[0], axis[1], 2.5]), np.array([0.0, 0.0, -1.0]))
    assert built.room.facets[met].name == "desk top"
    assert axis[2] - 0.1 == pytest.approx(2.5 - fall, abs=1e-6)


def test_a_turned_top_covers_what_lies_below_it() -> None:
    """A strip 2.0 by 0.2 turned by 90 degrees lies across; by 45 its corner reaches where it did not."""

    def strip(turn: float) -> Block:
        return Block(kind="block", from_front=(1.0, 3.0), from_left=(1.9, 2.1), up=(0.0, 0.7), turn_deg=turn)

    far, aside, diagonal = np.array([2.9, 2.0]), np.array([2.0, 2.9]), np.array([2.6, 2.6])
    assert [covers(strip(0.0), p) for p in (far, aside, diagonal)] == [True, False, False]
    assert [covers(strip(90.0), p) for p in (far, aside, diagonal)] == [False, True, False]
    assert [covers(strip(45.0), p) for p in (far, aside, diagonal)] == [False, False, True]
    assert [covers(strip(-45.0), p) for p in (far, aside, diagonal)] == [False, False, False]
