"""Room for a panel, judged alone: the same verdict as the whole scene built with it, at a fraction of the work."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

import pytest

from sim.blueprint.reader import read_scene
from sim.blueprint.schema import Blueprint
from sim.errors import BounceplanError
from sim.layouts.frames import Frames
from sim.placement.built_scene import BuiltScene
from sim.studies.view.edits import Edits, Hung, edited
from sim.studies.view.hanging import hung_at, surfaces_for_panels
from sim.studies.view.room_for_panels import RoomForPanels
from tests.studies.view.test_panels_hung import NONE, STOCK, Pages
from tests.studies.view.view_cases import room_file

SCENES = Path(__file__).parents[3] / "scenes"


def agree(scene_path: Path, step: int) -> tuple[int, int]:
    """Hold every `step`-th place on every surface against a scene built with the panel there; count yes and no."""
    scene = read_scene(scene_path)
    frames = Frames(scene)
    built = frames.build(scene.blueprint)
    room = RoomForPanels(scene.blueprint, built, scene.folder)
    yes = no = 0
    for surface in surfaces_for_panels(scene.blueprint, built):
        places = hung_at(scene.blueprint, built, 0, surface, False, ())
        for hung, twin in islice(places, 0, None, step):
            for more in [(hung,)] if twin is None else [(hung,), (hung, twin)]:
                expected = can_be_built(frames, scene, more)
                assert room.holds(more) is expected, (scene_path.parent.name, surface, more)
                yes, no = yes + expected, no + (not expected)
    return yes, no


def can_be_built(frames: Frames, scene: object, more: tuple[Hung, ...]) -> bool:
    try:
        frames.build(edited(scene, Edits(hung=more)).blueprint)  # type: ignore[arg-type]
    except BounceplanError:
        return False
    return True


@pytest.mark.parametrize("name", ["control-room-built-in", "attic-facing-gable", "bedroom-on-desk"])
def test_a_place_is_judged_as_the_whole_scene_would_be(name: str) -> None:
    yes, no = agree(SCENES / name / "scene.toml", 9)
    assert yes > 10 and no > 10


def test_furniture_screens_and_hung_panels_are_in_the_way(tmp_path: Path) -> None:
    cupboard = """
[[furniture]]
kind = "cupboard"
name = "cupboard"
from_front = [2.6, 3.4]
from_left = [0.0, 0.5]
up = [0.0, 1.9]
"""
    yes, no = agree(room_file(tmp_path, NONE + STOCK + cupboard), 4)
    assert yes > 10 and no > 10


def test_no_room_is_said_after_building_the_best_place_alone(tmp_path: Path) -> None:
    """The sentence is that of the best place; it used to take as many whole scenes as there are places to try."""
    long = NONE + STOCK.replace("panels = 4\n", "").replace("size = [0.6, 1.2]", "size = [0.6, 2.2]").replace(
        "3 }", "9 }"
    )
    pages = Pages(room_file(tmp_path, long))
    built: list[object] = []
    whole = pages.session.frames.build

    def counted(blueprint: Blueprint) -> BuiltScene:
        built.append(blueprint)
        return whole(blueprint)

    pages.session.frames.build = counted  # type: ignore[method-assign]
    hung = -1
    while pages.told[-1]["kind"] != "refused":
        hung += 1
        built.clear()
        pages.say("hang", stock=0, surface="rear wall")
    assert hung >= 1 and "rear wall panel" in pages.refused()["words"]
    assert len(built) == 1
