"""A first scene from the sizes a person typed."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.reader import parse_scene, read_scene
from sim.blueprint.template import new_scene
from sim.errors import OutputError, SceneError
from sim.placement.sheet import setup_sheet
from sim.placement.stage import set_stage
from sim.studies.check.new_scene import start_scene


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
    path = start_scene(tmp_path / "room", sizes, units=units)
    assert path == tmp_path / "room" / "scene.toml"
    scene = read_scene(path).blueprint
    box = scene.room.box
    assert box is not None
    assert (box.width, box.depth, box.height) == pytest.approx(metres, abs=2e-3)
    assert scene.units == units


def test_the_folder_names_the_room_unless_a_title_does(tmp_path: Path) -> None:
    sizes = ["3.4", "4.2", "2.4"]
    assert read_scene(start_scene(tmp_path / "my den", sizes, units="m")).blueprint.title == "my den"
    assert read_scene(start_scene(tmp_path / "x", sizes, units="m", title='The "A"')).blueprint.title == 'The "A"'


def test_a_scene_that_is_there_is_not_touched(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="is there already; choose another folder"):
        start_scene(tmp_path, ["3.4", "4.2", "2.4"], units="m")
    assert (tmp_path / "scene.toml").read_text(encoding="utf-8") == "mine"


def test_a_file_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "room").write_text("a file", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot be written"):
        start_scene(tmp_path / "room", ["3.4", "4.2", "2.4"], units="m")


@pytest.mark.parametrize("size", ["wide", "3.4 yd", "", "3,400 mm", "nan", "inf", "1e9"])
def test_what_is_no_size_is_refused_and_nothing_is_made(size: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        start_scene(tmp_path / "room", [size, "4.2", "2.4"], units="m")
    assert fault.value.where == "--box, width"
    assert list(tmp_path.iterdir()) == []


@given(width=st.floats(1.6, 12.0), depth=st.floats(2.0, 12.0), height=st.floats(1.8, 6.0))
def test_any_room_stands_and_both_tweeters_see_the_ear(width: float, depth: float, height: float) -> None:
    scene = parse_scene(new_scene(width, depth, height, title="any"), Path("nowhere"))
    sheet = setup_sheet(set_stage(scene.blueprint, scene.folder))
    assert not any(line.hidden_by for line in sheet.sight_lines)
    (pair,) = sheet.pairs
    assert pair.symmetric
