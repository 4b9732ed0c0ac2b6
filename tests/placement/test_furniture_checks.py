"""Furniture that cannot be where it is told is refused; what may be meant is said once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from sim.errors import SceneError
from sim.placement.built_scene import build_scene
from tests.built_scenes import block, blueprint_of, box, built_scene_of, desk, prism

ROOM = box(5.0, 4.0, 2.6)
SOURCE, EAR = (1.0, 1.2, 1.3), (2.8, 2.0, 1.2)
TABLE = desk((1.2, 2.0), (1.0, 3.0), 0.74)


def notes(*furniture: dict[str, Any], room: dict[str, Any] = ROOM) -> list[str]:
    built = built_scene_of(room, [SOURCE], EAR, furniture=list(furniture))
    return [note for note in built.notes if "reach" in note]


@pytest.mark.parametrize(
    ("furniture", "name", "words"),
    [
        ([block((5.5, 6.0), (1.0, 2.0), (0.0, 1.0))], "block", "outside the room"),
        ([block((1.0, 2.0), (-3.0, -2.0), (0.0, 1.0))], "block", "outside the room"),
        ([block((4.5, 5.3), (1.0, 2.0), (0.0, 1.0))], "block", "goes through a wall"),
        ([block((4.0, 4.5), (1.0, 2.0), (-0.4, 1.0))], "block", "goes through a wall"),
        ([desk((4.0, 4.9), (0.0, 1.6), 0.74, turn_deg=30.0)], "desk", "goes through a wall"),
        ([block((-1.0, 6.0), (-1.0, 5.0), (-1.0, 4.0))], "block", "goes round the whole room"),
        ([TABLE, {**TABLE, "name": "second"}], "desk", 'the same place as the furniture "second"'),
        ([TABLE, desk((1.21, 2.01), (1.0, 3.0), 0.74, name="second")], "desk", "the same place"),
        (
            [desk((1.2, 2.0), (1.0, 3.0), 0.74, front="solid"), block((1.4, 1.6), (1.5, 2.0), (0.1, 0.5))],
            "block",
            'the same place as the furniture "desk"',
        ),
    ],
)
def test_refused(furniture: list[dict[str, Any]], name: str, words: str) -> None:
    with pytest.raises(SceneError) as raised:
        notes(*furniture)
    assert raised.value.where == f'furniture "{name}"'
    assert words in raised.value.found
    assert len(raised.value.remedy) > 10


@pytest.mark.parametrize(
    "furniture",
    [
        [TABLE, block((1.3, 1.5), (1.2, 1.4), (0.74, 1.0))],  # stands on it
        [TABLE, desk((1.2, 2.0), (3.0, 3.9), 0.74, name="second")],  # beside it, flush
        [TABLE, block((1.3, 1.9), (1.2, 1.6), (0.0, 0.71), kind="rack")],  # under it
        [block((0.0, 0.5), (0.0, 4.0), (0.0, 2.6))],  # fills the front of the room
        [desk((1.2, 2.0), (1.0, 3.0), 0.74, tilt_deg=10.0, turn_deg=25.0, front="closed")],
        [
            {
                "kind": "screen",
                "at": {"from_front": 1.6, "from_left": 2.0, "up": 0.74},
                "width": 0.6,
                "height": 0.4,
                "material": "hard",
            },
            TABLE,
        ],
    ],
)
def test_what_only_touches_is_not_worth_a_word(furniture: list[dict[str, Any]]) -> None:
    assert notes(*furniture) == []


def test_what_reaches_into_another_piece_or_a_wall_is_said() -> None:
    (said,) = notes(TABLE, block((1.8, 2.3), (1.2, 1.6), (0.0, 1.0)))
    assert said.startswith("The desk and the block reach 20 cm into each other")
    (said,) = notes(block((4.5, 5.02), (1.0, 2.0), (0.0, 1.0)))
    assert said.startswith("The block reaches into a wall")


def test_a_corner_of_the_room_that_goes_through_a_piece_is_found() -> None:
    """No corner of the block is outside; the inner corner of an L goes through its middle."""
    room = prism([(0, 0), (5, 0), (5, 2), (3, 2), (3, 4), (0, 4)], 2.6)
    with pytest.raises(SceneError, match="goes through the corner of the room"):
        notes(block((2.9, 3.6), (1.4, 2.5), (0.5, 1.0), turn_deg=-45.0), room=room)
    assert notes(block((3.0, 3.4), (1.2, 2.0), (0.5, 1.0)), room=room) == []


@pytest.mark.parametrize(("at", "words"), [(4.8, "goes through a wall"), (6.0, "outside the room"), (4.4, "")])
def test_a_mesh_is_held_to_the_room(at: float, words: str, tmp_path: Path) -> None:
    shape = trimesh.creation.box(bounds=[[0, 0, 0], [0.5, 0.5, 0.5]])
    lines = [f"v {x} {y} {z}" for x, y, z in shape.vertices]
    lines += ["f " + " ".join(str(k + 1) for k in face) for face in shape.faces]
    (tmp_path / "piece.obj").write_text("\n".join(lines) + "\n", encoding="utf-8")
    piece = {
        "kind": "mesh",
        "name": "piece",
        "file": "piece.obj",
        "frame": {"unit": "m"},
        "material": "hard",
        "at": {"from_front": at, "from_left": 1.0, "up": 0.0},
    }
    blueprint = blueprint_of(ROOM, [SOURCE], EAR, furniture=[piece])
    if not words:
        build_scene(blueprint, tmp_path)
        return
    with pytest.raises(SceneError, match=words):
        build_scene(blueprint, tmp_path)


def test_a_scene_of_furniture_is_judged_in_a_moment() -> None:
    """Sweeps build thousands of built scenes: forty pieces among each other need no more than a glance."""
    from time import process_time

    from sim.geometry.room import build_room
    from sim.placement.collisions import judge_furniture, solids_of
    from tests.geometry.furnished import box_patches

    pieces = [block((0.2 + 0.1 * i, 0.25 + 0.1 * i), (0.5, 3.5), (0.1, 0.2), name=f"n{i}") for i in range(40)]
    furniture = blueprint_of(ROOM, [SOURCE], EAR, furniture=pieces).furniture
    room = build_room(box_patches(np.zeros(3), np.array([5.0, 4.0, 2.6]), "room", inward=True))
    start = process_time()
    judge_furniture(room, room.triangles, solids_of(furniture))
    assert process_time() - start < 1.0
