from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.reader import parse_scene, read_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.template import new_scene
from sim.errors import SceneError


def everything(text: str) -> str:
    """Take the "#" away before every optional line; prose has a blank behind it."""
    return re.sub(r"^#(?=\S)", "", text, flags=re.MULTILINE)


def test_a_new_scene_is_read_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_text(new_scene(3.4, 4.2, 2.4, title="My room"), encoding="utf-8")
    scene = read_scene(tmp_path)
    box = scene.blueprint.room.box
    assert box is not None
    assert (box.width, box.depth, box.height) == (3.4, 4.2, 2.4)
    assert scene.blueprint.title == "My room"
    assert scene.blueprint.listener.ear.from_front == pytest.approx(0.38 * 4.2, abs=1e-3)
    assert [piece.name for piece in scene.blueprint.furniture] == ["desk"]
    assert scene.warnings == ()


@pytest.mark.parametrize("units", ["m", "cm", "mm", "in", "ft"])
@given(width=st.floats(1.6, 12.0), depth=st.floats(2.0, 12.0), height=st.floats(1.8, 6.0))
def test_any_room_gives_a_scene_in_which_everything_is_inside(
    units: str, width: float, depth: float, height: float
) -> None:
    text = new_scene(width, depth, height, title="any", units=units)
    for version in (text, everything(text)):
        blueprint = parse_scene(version, Path("nowhere")).blueprint
        box, ear = blueprint.room.box, blueprint.listener.ear
        assert box is not None
        assert (box.width, box.depth, box.height) == pytest.approx((width, depth, height), abs=2e-3)
        left, right = (loudspeaker.acoustic_axis for loudspeaker in blueprint.loudspeakers)
        assert 0.3 < left.from_front < ear.from_front - 0.4
        assert 0.2 < left.from_left < right.from_left < width - 0.2
        assert left.from_left + right.from_left == pytest.approx(width, abs=5e-3)
        desk = blueprint.furniture[0]
        assert desk.kind == "desk"
        assert 0.1 < desk.from_front[0] < desk.from_front[1] < ear.from_front
        assert 0.0 <= desk.from_left[0] < desk.from_left[1] <= width


@given(width_mm=st.integers(1600, 12000))
def test_right_is_the_mirror_image_of_left_to_the_last_digit(width_mm: int) -> None:
    blueprint = parse_scene(new_scene(1e-3 * width_mm, 4.0, 2.4, title="any"), Path("nowhere")).blueprint
    left, right = (loudspeaker.acoustic_axis.from_left for loudspeaker in blueprint.loudspeakers)
    assert left + right == pytest.approx(1e-3 * width_mm, abs=1e-9)


def test_the_triangle_is_equilateral() -> None:
    blueprint = parse_scene(new_scene(3.4, 4.2, 2.4, title="t"), Path("nowhere")).blueprint
    ear = blueprint.listener.ear
    left, right = (loudspeaker.acoustic_axis for loudspeaker in blueprint.loudspeakers)
    side = math.hypot(ear.from_front - left.from_front, ear.from_left - left.from_left)
    assert side == pytest.approx(right.from_left - left.from_left, abs=3e-3)


def test_every_section_and_optional_key_is_shown() -> None:
    text = new_scene(3.4, 4.2, 2.4, title="t")
    blueprint = parse_scene(everything(text), Path("nowhere")).blueprint
    left_out = {"outline", "mesh", "notes", "plays", "silent"}  # the last two need two sets of monitors
    assert set(Blueprint.model_fields) - left_out == blueprint.model_fields_set
    assert {"materials", "box", "reverberation_time_s"} == blueprint.room.model_fields_set
    assert blueprint.listener.second_seat is not None


def test_a_title_with_quotes_survives() -> None:
    title = 'My "small" \\room ☺'
    assert parse_scene(new_scene(3.4, 4.2, 2.4, title=title), Path("nowhere")).blueprint.title == title


@pytest.mark.parametrize(
    ("given", "kept"), [("two\n\tlines", "two lines"), ("\x1b[2J", "\\x1b[2J"), ("x" * 300, "x" * 80)]
)
def test_a_title_from_a_terminal_or_a_folder_name_is_made_fit_for_a_scene(given: str, kept: str) -> None:
    assert parse_scene(new_scene(3.4, 4.2, 2.4, title=given), Path("nowhere")).blueprint.title == kept


@pytest.mark.parametrize(
    ("sizes", "sentence"),
    [
        ((3.4, 1.5, 2.4), "--box, depth: it is 1.5 m; give between 2 m and 60 m, and check the unit."),
        ((3400.0, 4.2, 2.4), "--box, width: it is 3400 m; give between 1.6 m and 60 m, and check the unit."),
        ((3.4, 4.2, math.nan), "--box, height: it is nan m; give between 1.8 m and 60 m, and check the unit."),
        ((3.4, 4.2, -2.4), "--box, height: it is -2.4 m; give between 1.8 m and 60 m, and check the unit."),
    ],
)
def test_a_room_that_cannot_be_is_refused(sizes: tuple[float, float, float], sentence: str) -> None:
    with pytest.raises(SceneError) as fault:
        new_scene(*sizes, title="t")
    assert str(fault.value) == sentence


def test_an_unknown_unit_is_refused() -> None:
    with pytest.raises(SceneError, match='units: it is "yd"; choose one of m, cm, mm, in, ft'):
        new_scene(3.4, 4.2, 2.4, title="t", units="yd")
