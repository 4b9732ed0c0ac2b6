"""A form laid into a file that is there: what is not touched stays byte for byte, and comments stay."""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene
from sim.errors import SceneError
from sim.studies.view.sketch.draft import base_of
from sim.studies.view.sketch.form import Form
from tests.studies.view.sketch.sketch_cases import FILE, base_in, make

SCENES = Path(__file__).resolve().parents[4] / "scenes"


def changed(form: Form, folder: Path) -> list[str]:
    """Lines that differ from the file, with + and -."""
    made = make(form, folder, base_in(folder))
    assert made.faults == {}
    lines = difflib.unified_diff(FILE.splitlines(), made.content.decode().splitlines(), lineterm="", n=0)
    return [line for line in lines if line[0] in "+-" and line[:3] not in ("+++", "---")]


def test_nothing_changed_is_the_file_itself(tmp_path: Path) -> None:
    base = base_in(tmp_path)
    assert make(base.form, tmp_path, base).content == FILE.encode()


@pytest.mark.parametrize(
    "name",
    ["bedroom-on-desk", "bedroom-on-stands", "control-room-stands", "control-room-bridge", "control-room-built-in"],
)
def test_demo_rooms_come_back_byte_for_byte(name: str) -> None:
    base = base_of(SCENES / name / "scene.toml")
    assert make(base.form, SCENES / name, base).content == base.raw


def test_a_mesh_is_refused() -> None:
    with pytest.raises(SceneError, match="its room is a mesh; correct the mesh"):
        base_of(SCENES / "attic-lying" / "scene.toml")


def test_one_length_is_one_line(tmp_path: Path) -> None:
    form = base_in(tmp_path).form
    assert changed(form.put("seat.front", "1.75"), tmp_path) == [
        "-ear = { from_front = 1.6, from_left = 1.6, up = 1.2 }",
        "+ear = { from_front = 1.75, from_left = 1.6, up = 1.2 }",
    ]
    assert changed(form.put("corners.1.front", "13 ft 2 in"), tmp_path) == [
        "-  { from_front = 4.0, from_left = 0 },      # behind the door",
        '+  { from_front = "13 ft 2 in", from_left = 0 },      # behind the door',
    ]
    assert changed(form.put("desk.top", "740 mm"), tmp_path) == []


def test_a_higher_ceiling_keeps_where_a_slope_ends(tmp_path: Path) -> None:
    """The angle of a plane that rises 1.1 m in 0.9 m, by the tangent."""
    form = base_in(tmp_path).form
    assert form.text("slopes.0.run") == "0.9"
    lines = changed(form.put("height", "2.7"), tmp_path)
    assert "+angle_deg = 50.71" in lines
    assert len(lines) == 4


def test_a_screen_goes_and_the_comment_behind_it_stays(tmp_path: Path) -> None:
    lines = changed(base_in(tmp_path).form.put("screen", ""), tmp_path)
    assert not [line for line in lines if line.startswith("+")]
    assert not [line for line in lines if "usable" in line or "hatch" in line]
    assert len([line for line in lines if line != "-"]) == 6


def test_openings_come_and_go_and_the_hatch_stays(tmp_path: Path) -> None:
    base = base_in(tmp_path)
    row = {"kind": "door", "wall": "front wall", "from": "0.1", "to": "0.7", "low": "0", "high": "2"}
    made = make(base.form.with_rows("openings", [row]), tmp_path, base)
    assert made.faults == {}
    assert made.scene is not None
    assert [(one.name, one.kind) for one in made.scene.blueprint.openings] == [("hatch", "hatch"), ("door", "door")]
    text = made.content.decode()
    assert "# --- what must stay usable ---" in text and "# The hatch is no part of the form." in text
    assert "order = 2                 # quick" in text


def test_what_went_may_come_again(tmp_path: Path) -> None:
    """A new window takes the name of the one that went, and a new slope that of its wall."""
    base = base_in(tmp_path, FILE.replace('"eaves"', '"rear slope"'))
    window = {"kind": "window", "wall": "right wall", "from": "0.5", "to": "1.2", "low": "0.9", "high": "1.5"}
    slope = {"wall": "rear wall", "knee": "1.7", "run": "0.8"}
    made = make(base.form.with_rows("openings", [window]).with_rows("slopes", [slope]), tmp_path, base)
    assert made.faults == {} and made.scene is not None
    assert {one.name: one.surface for one in made.scene.blueprint.openings} == {
        "hatch": "floor",
        "window": "right wall",
    }
    (kept,) = made.scene.blueprint.room.slopes
    assert (kept.name, kept.starts_at_height, kept.angle_deg) == ("rear slope", 1.7, 45.0)


def test_a_slope_goes(tmp_path: Path) -> None:
    base = base_in(tmp_path)
    made = make(base.form.with_rows("slopes", []), tmp_path, base)
    assert made.faults == {}
    assert made.scene is not None and made.scene.blueprint.room.slopes == ()


def test_monitors_from_the_desk_to_stands(tmp_path: Path) -> None:
    base = base_in(tmp_path)
    assert base.form["monitors_on"] == "desk"
    made = make(base.form.put("monitors_on", "stands").put("loudspeakers.0.up", "1.1"), tmp_path, base)
    assert made.faults == {}
    assert made.scene is not None
    left, right = made.scene.blueprint.loudspeakers
    assert (left.standing, left.acoustic_axis.up) == ("stand", 1.1)
    assert (right.standing, right.acoustic_axis.up) == ("stand", 1.2)


def test_a_box_becomes_an_l_and_an_outline_a_box(tmp_path: Path) -> None:
    base = base_in(tmp_path)
    form = base.form.put("shape", "box").put("width", "3.2").put("depth", "4")
    made = make(form, tmp_path, base)
    assert made.faults == {}
    again = parse_scene(made.content.decode(), tmp_path).blueprint
    assert again.room.box is not None and again.room.box.width == 3.2
    cut = make(
        form.put("shape", "L").put("cut_width", "1").put("cut_depth", "0.5").with_rows("slopes", []), tmp_path, base
    )
    assert cut.faults == {}
    assert cut.scene is not None and len(cut.scene.blueprint.room.outline or ()) == 6


def test_a_desk_that_monitors_stand_on_cannot_go(tmp_path: Path) -> None:
    base = base_in(tmp_path)
    made = make(base.form.put("desk", ""), tmp_path, base)
    assert list(made.faults) == ["loudspeakers.0"]
    assert "the scene has no desk" in made.faults["loudspeakers.0"]


def test_what_stood_in_the_file_may_not_be_left_empty(tmp_path: Path) -> None:
    base = base_in(tmp_path)
    made = make(base.form.put("seat.up", ""), tmp_path, base)
    assert list(made.faults) == ["seat.up"]


def test_a_second_seat_comes_and_goes(tmp_path: Path) -> None:
    base = base_in(tmp_path)
    form = base.form.put("second", "yes").put("second.up", "115 cm")
    made = make(form, tmp_path, base)
    assert made.faults == {} and made.scene is not None
    seat = made.scene.blueprint.listener.second_seat
    assert seat is not None
    assert seat.ear.coordinates == pytest.approx((2.1, 1.6, 1.15))
    home = tmp_path / "again"
    home.mkdir()
    again = base_in(home, made.content.decode())
    assert again.form["second.up"] == "115 cm"
    back = make(again.form.put("second", ""), home, again)
    assert back.faults == {} and back.scene is not None and back.scene.blueprint.listener.second_seat is None


def test_lists_in_one_line_are_added_to(tmp_path: Path) -> None:
    head, _, tail = FILE.partition("[[room.slopes]]")
    text = head + "[listener]" + tail.partition("[listener]")[2]
    text = text.replace("height = 2.5\n", "height = 2.5\nslopes = []\n")
    base = base_in(tmp_path, text)
    form = base.form.with_rows("slopes", [{"wall": "rear wall", "knee": "1.6", "run": "0.9"}])
    made = make(form, tmp_path, base)
    assert made.faults == {} and made.scene is not None
    (slope,) = made.scene.blueprint.room.slopes
    assert (slope.name, slope.angle_deg) == ("rear slope", 45.0)


def test_a_file_without_names_of_walls_stays_without(tmp_path: Path) -> None:
    text = FILE.replace('wall_names = ["left wall", "rear wall", "right wall", "front wall"]\n', "")
    base = base_in(tmp_path, text)
    made = make(base.form.put("corners.2.left", "3.3").put("corners.3.left", "3.3"), tmp_path, base)
    assert made.faults == {}
    assert "wall_names" not in made.content.decode()
    assert made.plan is not None and made.plan.walls == ("left wall", "rear wall", "right wall", "front wall")
    named = make(base.form.put("corners.1.wall", "gable").with_rows("slopes", []), tmp_path, base)
    assert named.scene is not None
    assert named.scene.blueprint.room.wall_names == ("left wall", "gable", "right wall", "front wall")
