"""Plans: which layouts there are, in which order, and what no plan can be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import parse_scene, read_scene
from sim.errors import SceneError
from sim.layouts.figures import surface_names
from sim.layouts.values import value_of
from sim.placement.built_scene import build_scene
from tests.studies.sweep.sweep_scenes import STANDS, TABLE, planned, table


def test_points_are_all_combinations_the_last_axis_fastest() -> None:
    plan = planned(table(), {"left.tilt": "0,5", "desk.depth": "0.5:0.7:0.1"}).plan
    assert plan.shape == (2, 3)
    assert plan.points == 6
    assert [plan.values(point) for point in range(6)] == [(0, 0.5), (0, 0.6), (0, 0.7), (5, 0.5), (5, 0.6), (5, 0.7)]


def test_lists_may_run_side_by_side() -> None:
    task = planned(table(), {"left.tilt": "0,5,7", "desk.depth": "0.5,0.6,0.4"}, together=True)
    assert task.plan.points == 3
    assert [task.plan.values(point) for point in range(3)] == [(0, 0.5), (5, 0.6), (7, 0.4)]
    with pytest.raises(SceneError, match=r"left.tilt has 2 values, desk.depth has 3 values; give lists"):
        planned(table(), {"left.tilt": "0,5", "desk.depth": "0.5,0.6,0.4"}, together=True)


def test_a_layout_is_the_scene_with_its_fields_at_these_values() -> None:
    task = planned(table(), {"left.tilt": "0,5", "desk.depth": "0.5:0.7:0.1"})
    changed = task.blueprint_at(task.plan.values(4))
    assert [value_of(changed, field) for field in task.fields] == pytest.approx([5.0, 0.6])
    assert [one.tilt_deg for one in changed.loudspeakers] == [5.0, 5.0]


def test_surfaces_are_those_of_the_scene_in_the_order_of_its_facets() -> None:
    plan = planned(STANDS, {"desk.tilt": "0,1"}).plan
    scene = read_scene(STANDS)
    assert plan.surfaces == surface_names(build_scene(scene.blueprint, scene.folder))
    assert {"floor", "window", "desk top", "screen face"} <= set(plan.surfaces)
    assert [set(names) for names in plan.drivers] == [{"woofer", "tweeter"}] * 2


def test_surfaces_are_known_even_where_every_layout_is_impossible() -> None:
    plan = planned(table(), {"desk.height": "1.05:1.15:0.05"}).plan
    assert "desk top" in plan.surfaces


def test_a_surface_that_only_a_changed_layout_has_is_there_too() -> None:
    """The slope begins to cut the ceiling only in a higher room."""
    outline = """[room]
outline = [{from_front=0,from_left=0},{from_front=4,from_left=0},{from_front=4,from_left=3},{from_front=0,from_left=3}]
wall_names = ["left wall", "rear wall", "right wall", "front wall"]
height = 2.5
slopes = [{ name = "left slope", wall = "left wall", starts_at_height = 2.0, angle_deg = 45 }]
"""
    text = TABLE.replace("[room]\nbox = { width = 3.0, depth = 4.0, height = 2.5 }\n", outline)
    assert text != TABLE
    plan = planned(parse_scene(text, Path("nowhere")), {"room.height": "2.4,2.6"}).plan
    assert "left slope" in plan.surfaces


@pytest.mark.parametrize(
    ("vary", "words"),
    [
        ({}, "vary: nothing varies; name a field and its values"),
        ({"left.tilt": "0,1", "right.tilt": "0,1"}, "left.tilt and right.tilt move the same thing"),
        ({"desk.tilt": "0,1", "desk.tilt_deg": "0,1"}, "desk.tilt and desk.tilt_deg move the same thing"),
        ({"left.tilt": "0:10:0.01", "desk.tilt": "0:10:0.01"}, "1,002,001 layouts; take larger steps; 200,000"),
    ],
)
def test_what_cannot_be_planned_is_told_in_one_sentence(vary: dict[str, str], words: str) -> None:
    with pytest.raises(SceneError) as fault:
        planned(table(), vary)
    assert words in str(fault.value)


def test_untied_loudspeakers_may_both_vary() -> None:
    task = planned(table(), {"left.tilt": "0,1", "right.tilt": "0,2"}, tied=False)
    tilts = [[one.tilt_deg for one in task.blueprint_at(task.plan.values(p)).loudspeakers] for p in range(4)]
    assert np.array_equal(tilts, [[0, 0], [0, 2], [1, 0], [1, 2]])
