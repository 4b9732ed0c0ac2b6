"""What a hand does: dragged corners lie on marks of the tape, shapes turn into each other, rows come and go."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.errors import SceneError
from sim.studies.view.sketch.edits import dragged, in_units, renamed, reshaped, split, traced, with_row, without_row
from sim.studies.view.sketch.form import Form
from sim.studies.view.sketch.plan import Plan
from tests.studies.view.sketch.sketch_cases import box, make


def plan(form: Form, folder: Path) -> Plan:
    made = make(form, folder)
    assert made.plan is not None, made.faults
    return made.plan


def l_shape(corner: str) -> Form:
    return box().put("shape", "L").put("cut_corner", corner).put("cut_width", "1").put("cut_depth", "1.4")


def test_a_corner_of_a_box_sets_its_sizes_in_steps_of_5_mm(tmp_path: Path) -> None:
    form = box()
    to = dragged(form, plan(form, tmp_path), {"corner.2.front": 4.6013, "corner.2.left": 3.2988}, fine=False)
    assert (to["depth"], to["width"], to["shape"]) == ("4.6", "3.3", "box")
    to = dragged(form, plan(form, tmp_path), {"corner.2.front": 4.6013, "corner.2.left": 3.2988}, fine=True)
    assert (to["depth"], to["width"]) == ("4.601", "3.299")


def test_with_an_inch_tape_steps_are_a_quarter_and_a_sixteenth(tmp_path: Path) -> None:
    form = box("ft", ("11 ft", "14 ft", "8 ft"))
    to = dragged(form, plan(form, tmp_path), {"corner.1.front": 4.35}, fine=False)
    assert to["depth"] == "14 ft 3 1/4 in"  # 4.35 m = 171.26 in
    to = dragged(form, plan(form, tmp_path), {"corner.1.front": 4.3505}, fine=True)
    assert to["depth"] == "14 ft 3 1/4 in"
    to = dragged(box("in", ("132", "168", "96")), plan(form, tmp_path), {"corner.1.front": 4.353}, fine=True)
    assert to["depth"] == "171 3/8 in"


def test_front_and_left_wall_of_a_box_stay(tmp_path: Path) -> None:
    form = box()
    assert dragged(form, plan(form, tmp_path), {"corner.0.front": 0.5, "corner.0.left": 0.3}, fine=False) == form


@pytest.mark.parametrize("corner", ["front left", "front right", "rear left", "rear right"])
def test_each_corner_of_an_l_can_be_dragged_to_where_it_is_put(tmp_path: Path, corner: str) -> None:
    form = l_shape(corner)
    before = plan(form, tmp_path)
    for number, (front, left) in enumerate(before.corners):
        to = (front - 0.1 if front else 0.0, left - 0.1 if left else 0.0)
        after = plan(
            dragged(form, before, {f"corner.{number}.front": to[0], f"corner.{number}.left": to[1]}, fine=False),
            tmp_path,
        )
        assert after.corners[number] == pytest.approx(to)
        assert len(after.corners) == 6


def test_only_the_dragged_corner_of_an_outline_moves(tmp_path: Path) -> None:
    form = reshaped(box(), "outline", plan(box(), tmp_path))
    to = dragged(form, plan(form, tmp_path), {"corner.1.front": 4.502, "corner.1.left": -0.21}, fine=False)
    assert plan(to, tmp_path).corners == ((0, 0), (4.5, -0.21), (4.2, 3.4), (0, 3.4))


@pytest.mark.parametrize("name", ["corner.9.front", "corner.x.front", "corner.1.up", "seat.front", "corner.-1.left"])
def test_nothing_else_can_be_dragged(tmp_path: Path, name: str) -> None:
    with pytest.raises(SceneError):
        dragged(box(), plan(box(), tmp_path), {name: 1.0}, fine=False)
    with pytest.raises(SceneError):
        dragged(box(), plan(box(), tmp_path), {"corner.1.front": 1e9}, fine=False)


def test_shapes_turn_into_each_other(tmp_path: Path) -> None:
    outline = reshaped(l_shape("rear right"), "outline", plan(l_shape("rear right"), tmp_path))
    assert len(outline.rows["corners"]) == 6
    assert np.allclose(plan(outline, tmp_path).corners, plan(l_shape("rear right"), tmp_path).corners)
    back = reshaped(outline, "box", plan(outline, tmp_path))
    assert (back["width"], back["depth"]) == ("3.4", "4.2")
    cut = reshaped(box(), "L", plan(box(), tmp_path))
    assert (cut["cut_width"], cut["cut_depth"]) == ("1.135", "1.4")


def test_another_unit_is_the_same_room(tmp_path: Path) -> None:
    form = in_units(box().put("seat.up", "121 cm"), "in")
    assert (form["width"], form["seat.up"]) == ("133.85827", "121 cm")
    before, after = plan(box(), tmp_path), plan(form, tmp_path)
    assert np.allclose(after.corners, before.corners, atol=1e-6)


def test_a_corner_in_a_wall_and_away_again(tmp_path: Path) -> None:
    form = split(box(), plan(box(), tmp_path), 1)
    assert form["shape"] == "outline"
    assert [row["wall"] for row in form.rows["corners"]] == [
        "left wall",
        "rear wall",
        "rear wall 2",
        "right wall",
        "front wall",
    ]
    assert make(form, tmp_path).faults == {}
    assert len(without_row(form, "corners", 2).rows["corners"]) == 4
    triangle = without_row(without_row(form, "corners", 2), "corners", 2)
    with pytest.raises(SceneError, match="three corners or more"):
        without_row(triangle, "corners", 0)


def test_clicked_corners_begin_at_the_front_and_left_walls(tmp_path: Path) -> None:
    form = traced(box(), [(1.0012, 2.0), (5.0, 2.0031), (5.0, 5.0), (1.0, 5.0)])
    assert [(row["front"], row["left"]) for row in form.rows["corners"]] == [
        ("0", "0"),
        ("4", "0.005"),
        ("4", "3"),
        ("0", "3"),
    ]
    assert make(form, tmp_path).faults == {}
    with pytest.raises(SceneError, match="2 were clicked"):
        traced(box(), [(0, 0), (1, 1)])


def test_what_is_added_fits_the_room_at_once(tmp_path: Path) -> None:
    form = l_shape("rear right")
    for what, kind in (("openings", "door"), ("openings", "window"), ("openings", "window"), ("slopes", "")):
        form = with_row(form, what, kind, plan(form, tmp_path))
    assert make(form.with_rows("slopes", []), tmp_path).faults == {}
    assert make(with_row(box(), "slopes", "", plan(box(), tmp_path)), tmp_path).faults == {}
    with pytest.raises(SceneError):
        with_row(form, "loudspeakers", "", None)
    with pytest.raises(SceneError):
        without_row(form, "openings", 7)


def test_a_wall_gets_a_name_and_its_window_goes_along(tmp_path: Path) -> None:
    form = traced(box(), [(0, 0), (4, 0), (4, 3), (0, 3)])
    form = with_row(form, "openings", "window", plan(form, tmp_path))
    form = renamed(form, "corners.0.wall", "party wall", plan(form, tmp_path))
    made = make(form, tmp_path)
    assert made.faults == {} and made.scene is not None
    assert made.scene.blueprint.room.wall_names == ("party wall", "rear wall", "right wall", "front wall")
    assert made.scene.blueprint.openings[0].surface == "party wall"
