"""Where monitors, desk and seat of a first scene go in rooms of any outline: bays, cut corners, skew walls."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.first_layout import laid_out
from sim.blueprint.first_room import FirstRoom, FirstSlope
from sim.blueprint.reader import parse_scene
from sim.blueprint.template import first_scene
from sim.pipeline import build

Corners = list[tuple[float, float]]
OUTLINES: dict[str, tuple[Corners, float]] = {
    "a bay in front too small for monitors": (
        [(0.6, 0), (4.6, 0), (4.6, 3.6), (0.6, 3.6), (0.6, 2.6), (0, 2.3), (0, 1.3), (0.6, 1.0)],
        0.6,
    ),
    "a bay in front that holds them": (
        [(0.8, 0), (5, 0), (5, 4), (0.8, 4), (0.8, 3.6), (0, 3.4), (0, 0.6), (0.8, 0.4)],
        0.0,
    ),
    "a front wall that is not square": ([(0.6, 0), (4.6, 0), (4.6, 3.6), (0, 3.6)], 0.3),
    "a corner missing in front": ([(1.5, 0), (4.5, 0), (4.5, 3.8), (0, 3.8), (0, 1.6), (1.5, 1.6)], 0.0),
    "side walls that are not square": ([(0, 0.8), (5, 0), (5, 4.4), (0, 3.6)], 0.0),
    "a box": ([(0, 0), (4, 0), (4, 3.4), (0, 3.4)], 0.0),
}
"""Corners (from_front, from_left), and from_front of the face that monitors stand before. Demo rooms, invented."""


def room_of(corners: Corners, slopes: tuple[FirstSlope, ...] = ()) -> FirstRoom:
    depths, acrosses = zip(*corners, strict=True)
    walls = tuple((f"{'left' if n == 0 else n} wall", *corner) for n, corner in enumerate(corners))
    return FirstRoom(max(acrosses), max(depths), 2.5, slopes=slopes, walls=walls)


@pytest.mark.parametrize("name", OUTLINES)
def test_things_fit_into_any_outline(name: str, tmp_path: Path) -> None:
    corners, front = OUTLINES[name]
    room = room_of(corners)
    layout = laid_out(room)
    scene, built = build(parse_scene(first_scene(room, title=name), tmp_path))
    assert len(built.loudspeakers) == 2 and [one.kind for one in scene.blueprint.furniture] == ["desk"]
    assert layout.half_base > 0.4
    assert layout.front >= front + 0.3
    assert layout.ear - layout.front == pytest.approx(2.0 * 0.866 * layout.half_base)


def test_a_box_as_an_outline_is_laid_out_as_the_box() -> None:
    box, outline = laid_out(FirstRoom(3.4, 4.0, 2.5)), laid_out(room_of(OUTLINES["a box"][0]))
    assert box.desk == pytest.approx(outline.desk, abs=1e-6)
    assert (box.middle, box.ear, box.front, box.half_base, box.desk_half) == pytest.approx(
        (outline.middle, outline.ear, outline.front, outline.half_base, outline.desk_half), abs=1e-6
    )


@pytest.mark.parametrize("name", OUTLINES)
def test_a_room_that_lies_elsewhere_has_its_things_there(name: str) -> None:
    corners, _ = OUTLINES[name]
    here, there = laid_out(room_of(corners)), laid_out(room_of([(a + 2.0, b + 3.0) for a, b in corners]))
    assert (there.middle - 3.0, there.ear - 2.0, there.front - 2.0, there.half_base) == pytest.approx(
        (here.middle, here.ear, here.front, here.half_base)
    )


def test_below_a_slope_on_the_left_the_middle_moves_right() -> None:
    corners, _ = OUTLINES["a box"]
    assert laid_out(room_of(corners, (FirstSlope("left", 1.0, 1.2),))).middle > 1.7
