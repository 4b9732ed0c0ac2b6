"""A first scene from the sizes a person typed."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.first_room import CORNERS, MONITORS, PLACES, SIDES
from sim.blueprint.reader import parse_scene, read_scene
from sim.blueprint.template import new_scene
from sim.cli import run
from sim.errors import OutputError, SceneError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.sheet import setup_sheet
from sim.studies.check.new_scene import new, start_scene
from sim.surveying.tape.given_room import GivenRoom


@pytest.mark.parametrize(
    ("sizes", "units", "metres"),
    [
        (["3.4", "4.2", "2.4"], "m", (3.4, 4.2, 2.4)),
        (["340", "420", "240"], "cm", (3.4, 4.2, 2.4)),
        (["11 ft 2 in", "420 cm", "2.4"], "m", (3.4036, 4.2, 2.4)),
        (["134", "165", "8 ft"], "in", (3.4036, 4.191, 2.4384)),
    ],
)
def test_sizes_are_bare_or_carry_their_unit(
    sizes: list[str], units: str, metres: tuple[float, float, float], tmp_path: Path
) -> None:
    path = start_scene(tmp_path / "room", GivenRoom(sizes), units=units)
    assert path == tmp_path / "room" / "scene.toml"
    scene = read_scene(path).blueprint
    box = scene.room.box
    assert box is not None
    assert (box.width, box.depth, box.height) == pytest.approx(metres, abs=2e-3)
    assert scene.units == units


def test_the_folder_names_the_room_unless_a_title_does(tmp_path: Path) -> None:
    sizes = ["3.4", "4.2", "2.4"]
    assert read_scene(start_scene(tmp_path / "my den", GivenRoom(sizes), units="m")).blueprint.title == "my den"
    assert (
        read_scene(start_scene(tmp_path / "x", GivenRoom(sizes), units="m", title='The "A"')).blueprint.title
        == 'The "A"'
    )


def test_a_scene_that_is_there_is_not_touched(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="is there already; choose another folder"):
        start_scene(tmp_path, GivenRoom(["3.4", "4.2", "2.4"]), units="m")
    assert (tmp_path / "scene.toml").read_text(encoding="utf-8") == "mine"


def test_a_file_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "room").write_text("a file", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot be written"):
        start_scene(tmp_path / "room", GivenRoom(["3.4", "4.2", "2.4"]), units="m")


@pytest.mark.parametrize("size", ["wide", "3.4 yd", "", "3,400 mm", "nan", "inf", "1e9"])
def test_what_is_no_size_is_refused_and_nothing_is_made(size: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        start_scene(tmp_path / "room", GivenRoom([size, "4.2", "2.4"]), units="m")
    assert fault.value.where == "--box, width"
    assert list(tmp_path.iterdir()) == []


@given(width=st.floats(1.6, 12.0), depth=st.floats(2.0, 12.0), height=st.floats(1.8, 6.0))
def test_any_room_stands_and_both_tweeters_see_the_ear(width: float, depth: float, height: float) -> None:
    scene = parse_scene(new_scene(width, depth, height, title="any"), Path("nowhere"))
    sheet = setup_sheet(build_scene(scene.blueprint, scene.folder))
    assert not any(line.hidden_by for line in sheet.sight_lines)
    (pair,) = sheet.pairs
    assert pair.symmetric


# Rooms that are no boxes: told by tape, built, and found as told.

L_SHAPE = {"box": [4.0, 5.0, 2.4], "cut_corner": ["rear right", 1.2, 1.5]}


def built_scene_of(folder: Path, **told: Any) -> BuiltScene:
    return build_scene(new(folder / "room", **told).blueprint, folder)


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("monitors_on", PLACES[:2])
def test_an_l_shape_has_the_volume_of_the_box_less_its_corner(corner: str, monitors_on: str, tmp_path: Path) -> None:
    built = built_scene_of(tmp_path, box=[4.4, 5.0, 2.4], cut_corner=[corner, 1.2, 1.5], monitors_on=monitors_on)
    assert built.volume_m3 == pytest.approx(2.4 * (4.4 * 5.0 - 1.2 * 1.5), rel=1e-9)
    names = {facet.name for facet in built.room.facets}
    assert {"corner side wall", "corner end wall", "front wall", "rear wall", "left wall", "right wall"} <= names


def test_walls_of_an_l_shape_bear_the_names_of_their_sides(tmp_path: Path) -> None:
    scene = new(tmp_path / "room", **L_SHAPE)  # type: ignore[arg-type]
    (left, rear, side, end, right, front) = scene.blueprint.room.outline or ()
    assert scene.blueprint.room.wall_names == (
        "left wall",
        "rear wall",
        "corner side wall",
        "corner end wall",
        "right wall",
        "front wall",
    )
    corners = [(one.from_front, one.from_left) for one in (left, rear, side, end, right, front)]
    assert corners == [(0, 0), (5.0, 0), (5.0, 2.8), (3.5, 2.8), (3.5, 4.0), (0, 4.0)]


@pytest.mark.parametrize("side", SIDES)
def test_a_slope_takes_its_wedge_off_the_room(side: str, tmp_path: Path) -> None:
    built = built_scene_of(tmp_path, box=[4.4, 5.0, 2.4], slopes=[[side, 1.4, 1.0]])
    across = 5.0 if side in ("left", "right") else 4.4
    wedge = 0.5 * (2.4 - 1.4) * 1.0 * across
    assert built.volume_m3 == pytest.approx(2.4 * 4.4 * 5.0 - wedge, rel=1e-3)
    assert f"{side} slope" in {facet.name for facet in built.room.facets}


def test_two_slopes_window_door_second_seat_and_model(tmp_path: Path) -> None:
    scene = new(
        tmp_path / "room",
        ["14 ft", "16 ft", "8 ft"],
        units="in",
        slopes=[["left", "4 ft", "4 ft"], ["right wall", 48, 48]],
        windows=[["rear", 50, 86, 30, 70]],
        doors=[["rear", 90, 122, 78]],
        second_seat=[140, 84, 44],
        model="8-inch",
    )
    built = build_scene(scene.blueprint, scene.folder)
    inch = 0.0254
    triangle = 0.5 * 48 * inch * 48 * inch * 16 * 12 * inch
    box_m3 = 14 * 16 * 8 * (12 * inch) ** 3
    assert built.volume_m3 == pytest.approx(box_m3 - 2 * triangle, rel=1e-3)
    assert [opening.kind for opening in scene.blueprint.openings] == ["window", "door"]
    assert built.listener_names == ("ear", "client")
    assert built.ears[1] == pytest.approx([140 * inch, 84 * inch, 44 * inch])
    assert [one.model for one in scene.blueprint.loudspeakers] == ["8-inch", "8-inch"]
    assert scene.blueprint.models["8-inch"].height == pytest.approx(0.39, abs=0.005)


@pytest.mark.parametrize("model", MONITORS)
@pytest.mark.parametrize("monitors_on", PLACES[:2])
def test_every_model_stands_where_it_should(model: str, monitors_on: str, tmp_path: Path) -> None:
    scene = new(tmp_path / "room", [3.4, 4.2, 2.4], model=model, monitors_on=monitors_on)
    built = build_scene(scene.blueprint, scene.folder)
    assert not any("hover" in note or "above" in note for note in (*built.notes, *built.warnings))
    floor = 0.74 if monitors_on == "desk" else 1.2 - MONITORS[model].axis_up_m
    for one in built.loudspeakers:
        corners = one.corners
        assert corners is not None and float(corners[:, 2].min()) == pytest.approx(floor, abs=0.01)


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({"cut_corner": ["middle", 1, 1]}, "--cut-corner"),
        ({"cut_corner": ["rear right", 3.4, 1]}, "--cut-corner, width: it is 3.4 m; give between"),
        ({"slopes": [["left", "low", 1]]}, '"low" is not a length'),
        ({"slopes": [["left", 2.6, 1]]}, "--slope left, knee: it is 2.6 m; give"),
        ({"slopes": [["left", 1, 1], ["left", 1, 1]]}, "each on its own side"),
        ({"slopes": [["left", 0.3, 3.0], ["right", 0.3, 3.0]]}, "no room is left for two monitors"),
        ({"windows": [["left", 2, 1, 1, 2]]}, "give the lower edge first"),
        ({"windows": [["left", 1, 9, 1, 2]]}, "window"),
        ({"doors": [["left", 1, 2]]}, "give 4: side, from, to, height"),
        ({"second_seat": [9, 1, 1]}, "listener.second_seat.ear"),
        ({"monitors_on": "shelf"}, "choose one of stands, desk"),
        ({"model": "12-inch"}, "choose one of 5-inch"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_nothing_is_made(
    told: dict[str, Any], sentence: str, tmp_path: Path
) -> None:
    with pytest.raises(SceneError) as fault:
        new(tmp_path / "room", [3.4, 4.2, 2.4], **told)
    assert sentence in str(fault.value) and "\n" not in str(fault.value)
    assert list(tmp_path.iterdir()) == []


def test_without_a_terminal_nothing_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("3.4\n"))
    with pytest.raises(
        SceneError, match="--box: it is missing, and nobody can be asked; give --box WIDTH DEPTH HEIGHT"
    ):
        run(["new", str(tmp_path / "room")])
    for alone in (["--slope", "left", "1", "1"], ["--height", "2.4"], ["--seat", "1", "1", "1"], ["--model", "8-inch"]):
        with pytest.raises(SceneError, match=f"{alone[0]}: there is no --box beside it"):
            run(["new", str(tmp_path / "room"), *alone])
    with pytest.raises(SceneError, match="--seat: it stands beside --demo"):
        run(["new", str(tmp_path / "room"), "--demo", "bedroom-on-desk", "--seat", "1", "1", "1"])
    assert list(tmp_path.iterdir()) == []


# Rooms of any outline, and what was measured in them.

QUAD = ["AB=3.41", "BC=4.20", "CD=3.40", "DA=4.22", "AC=5.41", "BD=5.40"]


def test_a_quadrilateral_by_six_distances_is_built_and_says_how_they_fit(tmp_path: Path) -> None:
    scene = new(tmp_path / "room", tape=QUAD, height="2.4", windows=[["CD", 1, 2, 1, 2]], slopes=[["left", 1.2, 1.0]])
    built = build_scene(scene.blueprint, scene.folder)
    outline = np.array([(one.from_front, one.from_left) for one in scene.blueprint.room.outline or ()])
    for reading in QUAD:
        a, b = (ord(letter) - ord("A") for letter in reading[:2])
        assert float(np.linalg.norm(outline[a] - outline[b])) == pytest.approx(float(reading[3:]), abs=0.006)
    assert scene.blueprint.room.wall_names == ("front wall", "right wall", "rear wall", "left wall")
    assert {"left slope", "window"} <= {facet.name for facet in built.room.facets}
    text = scene.path.read_text(encoding="utf-8")
    assert "# AB 3.41 m, BC 4.20 m, CD 3.40 m, DA 4.22 m, AC 5.41 m, BD 5.40 m.\n" in text
    assert "# The six readings fit together to 0.5 cm.\n" in text


def test_a_bay_corner_by_corner_has_its_volume_and_a_radiator_along_a_wall_at_an_angle(tmp_path: Path) -> None:
    corners = [[0, 0.8], [0, 3.2], [0.8, 4], [4.5, 4], [4.5, 0], [0.8, 0]]
    scene = new(
        tmp_path / "room", corners=corners, height=2.5, radiators=[["BC", 0.2, 0.8, 0.1, 0.7, 0.1]], monitors_on="desk"
    )
    built = build_scene(scene.blueprint, scene.folder)
    assert built.volume_m3 == pytest.approx(2.5 * (4.5 * 4 - 0.8 * 0.8), rel=1e-6)
    (radiator,) = (piece for piece in scene.blueprint.furniture if piece.name == "radiator")
    places = np.unique(np.round(radiator.solids()[0].corners[:, :2], 6), axis=0)
    # wall BC runs from (0, 3.2) to (0.8, 4): its inward normal is (1, -1) / sqrt(2)
    away = (places - [0.0, 3.2]) @ np.array([1.0, -1.0]) / np.sqrt(2.0)
    along = (places - [0.0, 3.2]) @ np.array([1.0, 1.0]) / np.sqrt(2.0)
    assert sorted(away) == pytest.approx([0.0, 0.0, 0.1, 0.1], abs=2e-3)
    assert sorted(along) == pytest.approx([0.2, 0.2, 0.8, 0.8], abs=2e-3)
    (zone,) = scene.blueprint.keep_clear
    assert zone.kind == "heater"
    for axis, span in enumerate((zone.from_front, zone.from_left)):
        assert span == pytest.approx((places[:, axis].min(), places[:, axis].max()), abs=2e-3), (
            "all of it, as it is turned"
        )


def test_what_was_measured_stands_where_it_was_measured(tmp_path: Path) -> None:
    scene = new(
        tmp_path / "room",
        [3.41, 4.8, 2.5],
        slopes=[["left", 0.9, 1.7]],
        windows=[["left slope", 1, 1.8, 1.2, 1.9]],
        beams=[["across", 2.0, 2.2, 2.1], ["along", 1.0, 1.1, 1.5, 1.7]],
        seat=[1.5, 2.0, 1.2],
        left_monitor=[0.5, 1.5, 0.96],
        right_monitor=[0.5, 2.5, 0.96],
        desk=[0.2, 0.95, 1.3, 2.7, 0.74],
        screen=[0.4, 2.0, 0.86, 0.6, 0.35],
        monitors_on="desk",
    )
    built = build_scene(scene.blueprint, scene.folder)
    assert built.ears[0] == pytest.approx([1.5, 2.0, 1.2])
    assert [one.axis_point.tolist() for one in built.loudspeakers] == [
        pytest.approx([0.5, 1.5, 0.96]),
        pytest.approx([0.5, 2.5, 0.96]),
    ]
    spans = {piece.name: piece for piece in scene.blueprint.furniture}
    assert spans["desk"].from_left == (1.3, 2.7) and spans["screen"].width == 0.6
    assert spans["beam"].from_left == pytest.approx((1.7, 3.41)), "it ends where the slope is as high as its top"
    assert spans["beam 2"].up == (1.5, 1.7) and spans["beam 2"].from_front == (0.0, 4.8)
    assert scene.blueprint.openings[0].surface == "left slope"


def test_monitors_that_are_built_in_lie_in_the_front_wall(tmp_path: Path) -> None:
    built = build_scene(new(tmp_path / "room", [4.4, 5.0, 2.5], monitors_on="built-in").blueprint, tmp_path)
    for one in built.loudspeakers:
        assert one.built_into == ("front wall",)
        assert one.driver_points[:, 0].max() < 0.03


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({}, "the room: nothing gives the shape; give one of --box, --tape and --corner"),
        ({"tape": QUAD}, "--height: it is missing beside --tape"),
        ({"tape": QUAD, "box": [3, 4, 2.4]}, "--box and --tape are given"),
        ({"tape": QUAD, "height": 2.4, "cut_corner": ["rear right", 1, 1]}, "--cut-corner: it belongs to --box"),
        ({"tape": ["AB3.41"], "height": 2.4}, '"AB3.41" is not a distance between two corners; write AC=5.41'),
        ({"tape": ["AB=wide"], "height": 2.4}, '--tape AB: "wide" is not a length'),
        ({"tape": ["AE=3.4"], "height": 2.4}, "corner B is in no distance"),
        ({"tape": QUAD[:2], "height": 2.4}, "measure the distance AC as well"),
        ({"tape": QUAD, "inward": "E", "height": 2.4}, '--inward: "E" is no corner; corners are A to D'),
        ({"tape": QUAD, "height": 2.4, "windows": [["top", 1, 2, 1, 2]]}, "choose one of front, rear, left, right"),
        ({"tape": [*QUAD[:5], "BD=9.4"], "height": 2.4}, "BD is 9.40 m, longer than"),
        ({"tape": [*QUAD[:5], "BD=4.9"], "height": 2.4}, "they miss each other by"),
        ({"corners": [[0, 0], [0, 3]], "height": 2.4}, "--corner: 2 are given; give 3 to 26"),
        ({"corners": [[0, 0], [0, 3], [0, 3], [3, 0]], "height": 2.4}, "B and C are in one place"),
        ({"corners": [[0, 0], [0, 3], [3, 0], [3, 3]], "height": 2.4}, "the walls cross each other"),
        ({"corners": [[0, -1], [0, 3], [3, 0]], "height": 2.4}, "one lies before the front or left wall"),
        (
            {"box": [3, 4, 2.4], "beams": [["slanted", 1, 1.2, 2]]},
            '--beam: it is "slanted"; choose one of across, along',
        ),
        ({"box": [3, 4, 2.4], "beams": [["across", 1, 1.2, 2.5]]}, "--beam, underside: it is 2.5 m"),
        ({"box": [3, 4, 2.4], "beams": [["across", 9, 9.2, 2]]}, "no room is below the ceiling"),
        ({"box": [3, 4, 2.4], "beams": [["across", 1]]}, "--beam: it has 2 parts"),
        ({"box": [3, 4, 2.4], "radiators": [["left", 1, 2, 0.1, 0.7, 3]]}, "--radiator left, depth: it is 3 m"),
        (
            {"box": [3, 4, 2.4], "radiators": [["left", 1, 5, 0.1, 0.7, 0.1]]},
            "give at most 4.00 m, where the wall ends",
        ),
        (
            {"box": [3, 4, 2.4], "slopes": [["left", 1, 1]], "doors": [["rear", 0.2, 0.9, 2]]},
            "door rear: the slope over it leaves 1.28 m where it begins",
        ),
        ({"box": [3, 4, 2.4], "seat": [9, 1, 1]}, "--seat, from_front: it is 9 m; give 0 m to 4 m"),
        ({"box": [3, 4, 2.4], "left_monitor": [1, 1, 1]}, "--left-monitor: the other monitor is not given"),
        ({"box": [3, 4, 2.4], "desk": [1, 0.5, 1, 2, 0.7]}, "--desk, from the front wall: it runs from 1 m to 0.5 m"),
        ({"box": [3, 4, 2.4], "screen": [1, 1, 1, 0, 0]}, "--screen: it is 0 m wide"),
    ],
)
def test_what_cannot_be_of_any_outline_is_one_sentence(told: dict[str, Any], sentence: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        new(tmp_path / "room", **told)
    assert sentence in str(fault.value) and "\n" not in str(fault.value)
    assert list(tmp_path.iterdir()) == []


def test_options_of_the_command_are_those_of_python(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The command line that questions end with gives the same file as its Python twin."""
    monkeypatch.setattr("sim.studies.check.draw_plan_of", lambda *_: "")
    given = GivenRoom(
        tape=QUAD,
        height="2.4",
        slopes=[["left", "1.4", "1"]],
        doors=[["rear", "1.5", "2.3", "2"]],
        beams=[["across", "2", "2.2", "2.1"]],
        radiators=[["BC", "1", "2", "0.1", "0.7", "0.1"]],
        seat=["1.6", "2.2", "1.2"],
        monitors_on="built in",
        model="8-inch",
        second_seat=["3", "2.2", "1.2"],
    )
    start_scene(tmp_path / "python", given, units="m", title="same")
    assert run(["new", str(tmp_path / "command"), "--title", "same", *given.options("m")]) == 0
    texts = [(tmp_path / name / "scene.toml").read_text(encoding="utf-8") for name in ("python", "command")]
    assert texts[0] == texts[1]
