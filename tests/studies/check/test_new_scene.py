"""A first scene from the sizes a person typed."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.first_room import CORNERS, MONITORS, PLACES, SIDES
from sim.blueprint.reader import parse_scene, read_scene
from sim.blueprint.template import first_scene, new_scene
from sim.cli import run
from sim.errors import OutputError, SceneError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.sheet import setup_sheet
from sim.studies.check.new_scene import Told, asked_room, new, start_scene


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
    path = start_scene(tmp_path / "room", Told(sizes), units=units)
    assert path == tmp_path / "room" / "scene.toml"
    scene = read_scene(path).blueprint
    box = scene.room.box
    assert box is not None
    assert (box.width, box.depth, box.height) == pytest.approx(metres, abs=2e-3)
    assert scene.units == units


def test_the_folder_names_the_room_unless_a_title_does(tmp_path: Path) -> None:
    sizes = ["3.4", "4.2", "2.4"]
    assert read_scene(start_scene(tmp_path / "my den", Told(sizes), units="m")).blueprint.title == "my den"
    assert read_scene(start_scene(tmp_path / "x", Told(sizes), units="m", title='The "A"')).blueprint.title == 'The "A"'


def test_a_scene_that_is_there_is_not_touched(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="is there already; choose another folder"):
        start_scene(tmp_path, Told(["3.4", "4.2", "2.4"]), units="m")
    assert (tmp_path / "scene.toml").read_text(encoding="utf-8") == "mine"


def test_a_file_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "room").write_text("a file", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot be written"):
        start_scene(tmp_path / "room", Told(["3.4", "4.2", "2.4"]), units="m")


@pytest.mark.parametrize("size", ["wide", "3.4 yd", "", "3,400 mm", "nan", "inf", "1e9"])
def test_what_is_no_size_is_refused_and_nothing_is_made(size: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        start_scene(tmp_path / "room", Told([size, "4.2", "2.4"]), units="m")
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


# Questions on the terminal.


def answering(answers: list[str]) -> tuple[Told, str, list[str]]:
    """Answer the questions one after the other; returns the room, its unit and what was said."""
    left, said = list(answers), list[str]()

    def ask(question: str) -> str:
        if not left:
            raise EOFError
        return left.pop(0)

    told, unit = asked_room(ask, said.append, None)
    assert not left
    return told, unit, said


def test_a_box_needs_three_lengths_and_enter_for_all_else() -> None:
    told, unit, _ = answering(["cm", "340", "420", "240", "", "", "", "", "", "", ""])
    assert unit == "cm"
    assert told.room(unit) == Told(["340", "420", "240"]).room("cm")


def test_everything_can_be_answered_and_short_words_do() -> None:
    corner, slope = ["rear r", "1.2", "1.5"], ["left", "1.4", "1"]
    openings = ["right", "1", "2", "0.9", "2", "front", "0.3", "1.1", "2"]
    told, unit, _ = answering(
        ["", "4.4", "5", "2.4", *corner, *slope, "", *openings, "desk", "8", "yes", "3", "2.2", "1.2"]
    )
    assert told == Told(
        ["4.4", "5", "2.4"],
        ("rear right", "1.2", "1.5"),
        (("left", "1.4", "1"),),
        (("right", "1", "2", "0.9", "2"),),
        (("front", "0.3", "1.1", "2"),),
        ("3", "2.2", "1.2"),
        "desk",
        "8-inch",
    )
    parse_scene(first_scene(told.room(unit), title="t"), Path("nowhere"))


def test_a_wrong_answer_is_asked_again_and_says_why() -> None:
    with pytest.raises(SceneError, match="the answers ended before the questions; nothing was written"):
        answering(["yd", "m", "wide", "4", "2"])
    told, unit, said = answering(["yd", "m", "wide", "4", "2", "", "3.4", "4.2", "2.4", "middle", *[""] * 7])
    assert told.room(unit) == Told(["3.4", "4.2", "2.4"]).room("m")
    assert '  "yd" is none of m, cm, mm, in, ft.' in said
    assert any('"wide" is not a length' in words for words in said)
    assert '  "middle" is none of front left, front right, rear left, rear right.' in said


def test_without_a_terminal_nothing_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("3.4\n"))
    with pytest.raises(
        SceneError, match="--box: it is missing, and nobody can be asked; give --box WIDTH DEPTH HEIGHT"
    ):
        run(["new", str(tmp_path / "room")])
    with pytest.raises(SceneError, match="--slope: there is no --box beside it"):
        run(["new", str(tmp_path / "room"), "--slope", "left", "1", "1"])
    assert list(tmp_path.iterdir()) == []
