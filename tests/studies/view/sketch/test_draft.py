"""From a form to a scene: the file that `new` writes, places that are proposed, and whose fault it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.first_layout import laid_out
from sim.blueprint.first_room import FirstRoom, FirstSlope
from sim.blueprint.template import first_scene
from sim.studies.view.sketch.drawn import drawing
from sim.studies.view.sketch.form import Form
from tests.studies.view.sketch.sketch_cases import box, make

WINDOW = {"kind": "window", "wall": "left wall", "from": "0.6", "to": "1.5", "low": "0.9", "high": "1.7"}


def outline(form: Form, *corners: tuple[float, float]) -> Form:
    rows = [{"front": str(front), "left": str(left), "wall": ""} for front, left in corners]
    return form.put("shape", "outline").with_rows("corners", rows)


def test_a_box_alone_is_the_file_that_new_writes(tmp_path: Path) -> None:
    made = make(box(), tmp_path)
    assert made.faults == {}
    assert made.content.decode() == first_scene(FirstRoom(3.4, 4.2, 2.4), title="Den")


def test_an_l_with_a_slope_is_the_file_that_new_writes(tmp_path: Path) -> None:
    form = box().put("shape", "L").put("cut_width", "1.2").put("cut_depth", "4 ft")
    form = form.with_rows("slopes", [{"wall": "left wall", "knee": "1.60", "run": "0.8"}])
    made = make(form, tmp_path)
    assert made.faults == {}
    room = FirstRoom(3.4, 4.2, 2.4, ("rear right", 1.2, 1.219), (FirstSlope("left", 1.6, 0.8),))
    text = first_scene(room, title="Den")
    assert made.scene is not None
    told, mine = text.splitlines(), made.content.decode().splitlines()
    assert [line for line in mine if line not in told] == [line for line in mine if "2.9808" in line]
    assert made.scene.blueprint.room.outline[3].from_front == pytest.approx(4.2 - 1.2192)  # 4 ft is not rounded


@pytest.mark.parametrize("text", ["3.41 m", "341 cm", "3410 mm", "3.41", "3,41 m", " 3.410 "])
def test_a_width_in_any_unit(tmp_path: Path, text: str) -> None:
    made = make(box().put("width", text), tmp_path)
    assert made.scene is not None and made.scene.blueprint.room.box is not None
    assert made.scene.blueprint.room.box.width == pytest.approx(3.41, abs=1e-9)


def test_feet_and_inches_stay_as_they_were_typed(tmp_path: Path) -> None:
    """International foot and inch: 11 x 0.3048 m + 2.25 x 0.0254 m (exact since 1959)."""
    made = make(box().put("width", "11 ft 2 1/4 in"), tmp_path)
    assert made.scene is not None and made.scene.blueprint.room.box is not None
    assert made.scene.blueprint.room.box.width == pytest.approx(11 * 0.3048 + 2.25 * 0.0254)
    assert '"11 ft 2 1/4 in"' in made.content.decode()


def test_an_outline_gets_names_of_walls_and_places_within(tmp_path: Path) -> None:
    form = outline(box(), (0, 0), (4.5, 0), (4.5, 1.5), (3.0, 1.5), (3.0, 4.0), (0, 4.0))
    made = make(form.with_rows("openings", [WINDOW]), tmp_path)
    assert made.faults == {}
    assert made.scene is not None
    room = made.scene.blueprint.room
    assert room.wall_names == ("left wall", "rear wall 2", "right wall 2", "rear wall", "right wall", "front wall")
    assert made.scene.blueprint.openings[0].surface == "left wall"
    ear = made.scene.blueprint.listener.ear
    assert 0.0 < ear.from_front < 3.0 and ear.from_left == pytest.approx(2.0)


def test_an_outline_with_a_bay_has_its_things_where_new_puts_them(tmp_path: Path) -> None:
    corners = ((0.6, 0), (4.6, 0), (4.6, 3.6), (0.6, 3.6), (0.6, 2.6), (0, 2.3), (0, 1.3), (0.6, 1.0))
    made = make(outline(box(), *corners), tmp_path)
    assert made.faults == {} and made.scene is not None
    walls = tuple((f"{number} wall", *corner) for number, corner in enumerate(corners))
    layout = laid_out(FirstRoom(3.6, 4.6, 2.4, walls=walls))
    ear, left = made.scene.blueprint.listener.ear, made.scene.blueprint.loudspeakers[0].acoustic_axis
    assert (ear.from_front, ear.from_left) == pytest.approx((layout.ear, layout.middle), abs=1e-3)
    assert (left.from_front, left.from_left) == pytest.approx(
        (layout.front, layout.middle - layout.half_base), abs=1e-3
    )


def test_walls_of_a_clockwise_outline_have_the_same_names(tmp_path: Path) -> None:
    corners = [(0, 0), (4.2, 0), (4.2, 3.4), (0, 3.4)]
    made = make(outline(box(), *reversed(corners)), tmp_path)
    assert made.plan is not None
    by_wall = {name: {made.plan.corners[n], made.plan.corners[(n + 1) % 4]} for n, name in enumerate(made.plan.walls)}
    assert by_wall["front wall"] == {(0.0, 0.0), (0.0, 3.4)}
    assert by_wall["left wall"] == {(0.0, 0.0), (4.2, 0.0)}
    assert made.scene is not None and made.built is not None
    front = made.built.room.facets[made.built.room.facet_numbers("front wall")[0]]
    assert abs(front.offset_m) < 1e-9 and front.normal[0] == pytest.approx(1.0)


def test_openings_in_walls_that_new_does_not_know(tmp_path: Path) -> None:
    form = box().put("shape", "L").put("cut_width", "1.2").put("cut_depth", "1.4")
    row = {**WINDOW, "kind": "door", "wall": "corner side wall", "from": "3.0", "to": "3.8", "low": "0", "high": "2"}
    made = make(form.with_rows("openings", [row, WINDOW]), tmp_path)
    assert made.faults == {}
    assert made.scene is not None
    assert {one.name: one.surface for one in made.scene.blueprint.openings} == {
        "window": "left wall",
        "door": "corner side wall",
    }
    assert made.scene.blueprint.openings[1].swing == pytest.approx(0.8)
    text = made.content.decode()  # all stand where the template has its own
    assert text.index("corner side wall") < text.index('name = "door"') < text.index("#[[keep_clear]]")


def test_typed_places_win_over_proposed_ones(tmp_path: Path) -> None:
    form = box().put("seat.front", "1.75").put("desk.top", "72 cm").put("loudspeakers.0.front", "0.6")
    form = form.put("screen", "yes").put("screen.width", "0.7")
    made = make(form, tmp_path)
    assert made.faults == {}
    assert made.scene is not None and made.proposed is not None
    blueprint = made.scene.blueprint
    assert blueprint.listener.ear.from_front == 1.75
    desk, screen = blueprint.furniture
    assert desk.top == pytest.approx(0.72)
    assert (screen.width, screen.height) == (0.7, 0.36)
    assert blueprint.loudspeakers[0].acoustic_axis.from_front == 0.6
    assert blueprint.loudspeakers[1].acoustic_axis.from_front == 0.35
    assert made.proposed["seat.left"] == "1.7"


def test_without_a_desk_there_is_none(tmp_path: Path) -> None:
    made = make(box().put("desk", ""), tmp_path)
    assert made.scene is not None and made.scene.blueprint.furniture == ()


@pytest.mark.parametrize(
    ("name", "text", "field", "words"),
    [
        ("width", "abc", "width", '"abc" is not a length'),
        ("width", "", "width", "A length is missing here"),
        ("width", "3,400 m", "width", "comma"),
        ("width", "340", "width", "340"),
        ("width", "nan", "width", "not a number"),
        ("height", "0.5", "height", "It is 0.5 m; give between"),
        ("cut_width", "3.3", "cut_width", "give between 0.1 m and 2.9 m"),
        ("seat.front", "7", "seat.front", "outside the room"),
        ("seat.up", "twelve", "seat.up", "is not a length"),
        ("desk.near", "0.1", "desk", "must be larger than the first"),
        ("openings.0.to", "9", "openings.0", "4.20 m"),
        ("slopes.0.run", "-1", "slopes.0.run", "give 0.05 m to 3.4 m"),
        ("slopes.0.knee", "2.6", "slopes.0.knee", "give 0.05 m to 2.35 m"),
        ("loudspeakers.1.front", "-2", "loudspeakers.1", "room"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(tmp_path: Path, name: str, text: str, field: str, words: str) -> None:
    form = box().put("shape", "L").put("cut_width", "1.2").put("cut_depth", "1.4")
    form = form.with_rows("openings", [WINDOW])
    form = form.with_rows("slopes", [{"wall": "right wall", "knee": "1.9", "run": "0.4"}])
    assert make(form, tmp_path).faults == {}
    made = make(form.put(name, text), tmp_path)
    assert list(made.faults) == [field]
    assert words in made.faults[field]
    assert made.content == b"" and made.built is None


def test_an_opening_of_an_outline_that_runs_backward(tmp_path: Path) -> None:
    form = outline(box(), (0, 0), (4.2, 0), (4.2, 3.4), (0, 3.4)).with_rows(
        "openings", [WINDOW, {**WINDOW, "to": "0.1"}]
    )
    made = make(form, tmp_path)
    assert list(made.faults) == ["openings.1"]
    assert "must be larger than the first" in made.faults["openings.1"]


def test_several_fields_that_are_no_lengths_are_all_marked(tmp_path: Path) -> None:
    made = make(box().put("width", "x").put("depth", "y"), tmp_path)
    assert set(made.faults) == {"width", "depth"}


def test_an_outline_that_crosses_itself(tmp_path: Path) -> None:
    made = make(outline(box(), (0, 0), (4, 3), (4, 0), (0, 3)), tmp_path)
    assert list(made.faults) == ["corners"]
    same = make(outline(box(), (0, 0), (0, 0), (4, 0), (4, 3)), tmp_path)
    assert list(same.faults) == ["corners.0"]


def test_monitors_built_in_are_the_file_that_new_writes(tmp_path: Path) -> None:
    made = make(box().put("monitors_on", "built in"), tmp_path)
    assert made.faults == {}
    assert made.content.decode() == first_scene(FirstRoom(3.4, 4.2, 2.4, monitors_on="built in"), title="Den")


def test_monitors_built_into_the_wall_that_an_outline_has_in_front(tmp_path: Path) -> None:
    form = outline(box(), (0.5, 0), (4.5, 0), (4.5, 3.6), (0.5, 3.6)).put("monitors_on", "built in")
    made = make(form.put("corners.3.wall", "glass wall"), tmp_path)
    assert made.faults == {} and made.scene is not None and made.built is not None and made.plan is not None
    for one in made.scene.blueprint.loudspeakers:
        assert (one.standing, one.built_into) == ("built in", ("glass wall",))
        assert one.acoustic_axis.from_front == pytest.approx(0.52)
    drawn = [
        body for body in drawing(made.scene.blueprint, made.built, made.plan)["bodies"] if body["kind"] == "built-in"
    ]
    assert [body["name"] for body in drawn] == ["left", "right"]
    assert min(depth for _, depth in drawn[0]["plan"]) < 0.5  # the cabinet is behind the wall
