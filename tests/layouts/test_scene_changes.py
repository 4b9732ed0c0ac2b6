"""Scenes made and changed in Python are checked exactly as files are."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

import sim
from sim.blueprint.writing import to_toml
from tests.studies.little_room import DESK, TEXT, little_room

SCENES = Path(__file__).resolve().parents[2] / "scenes"
BEDROOM = SCENES / "bedroom-on-desk"
CLOUD: dict[str, Any] = {
    "name": "cloud",
    "surface": "ceiling",
    "material": "100 mm wool",
    "from_front": ["80 cm", 1.6],
    "from_left": [1, 2.4],
}


def test_path_text_dictionaries_and_records_are_one_scene() -> None:
    read = sim.read_scene(BEDROOM)
    text = (BEDROOM / "scene.toml").read_text(encoding="utf-8")
    assert sim.read_scene(str(BEDROOM / "scene.toml")) == read
    assert sim.read_scene(text, BEDROOM).digest == read.digest
    assert sim.read_scene(tomllib.loads(text), BEDROOM).blueprint == read.blueprint
    assert sim.read_scene(read.blueprint, BEDROOM).blueprint == read.blueprint
    assert sim.read_scene(read) is read


def test_a_scene_of_dictionaries_is_refused_as_its_file_is() -> None:
    """The same sentence; only where it stands is told without a file and a line."""
    wrong = TEXT.replace("width = 3.4", "width = 0.1")
    with pytest.raises(sim.SceneError) as of_text:
        sim.read_scene(wrong)
    with pytest.raises(sim.SceneError) as of_dictionary:
        sim.read_scene(tomllib.loads(wrong))
    assert (of_text.value.found, of_text.value.remedy) == (of_dictionary.value.found, of_dictionary.value.remedy)
    assert of_dictionary.value.where == "the scene, room.box.width"


def test_numbers_change_by_the_names_of_sweeps_and_partners_follow() -> None:
    before = little_room(DESK)
    after = sim.change(before, {"desk.tilt": 5, "left.height": "125 cm", "left.from_left": 1.0})
    assert after.blueprint.furniture[0].tilt_deg == 5.0  # type: ignore[attr-defined]
    points = [each.acoustic_axis for each in after.blueprint.loudspeakers]
    axes = [(point.from_front, point.from_left, point.up) for point in points]
    assert axes == [pytest.approx((0.6, 1.0, 1.25)), pytest.approx((0.6, 2.4, 1.25))]
    alone = sim.change(before, {"left.height": 1.3}, tied=False)
    assert [each.acoustic_axis.up for each in alone.blueprint.loudspeakers] == [1.3, 1.2]
    assert before.blueprint.furniture[0].tilt_deg == 0.0  # type: ignore[attr-defined]
    assert before.digest != after.digest


def test_plain_numbers_are_in_the_unit_of_the_scene() -> None:
    inches = sim.read_scene(
        {
            **tomllib.loads(TEXT),
            "units": "in",
            "room": {"box": {"width": "3.4 m", "depth": "4.2 m", "height": "2.4 m"}},
            "listener": {"ear": {"from_front": 63, "from_left": 67, "up": 47}},
            "loudspeakers": [
                {"name": "left", "model": "point", "acoustic_axis": {"from_front": 24, "from_left": 43, "up": 47}}
            ],
        }
    )
    assert sim.change(inches, {"left.height": 50}).blueprint.loudspeakers[0].acoustic_axis.up == pytest.approx(1.27)
    added = sim.add(inches, "panels", {**CLOUD, "from_front": [30, 60], "from_left": [40, 90]})
    assert added.blueprint.panels[0].from_left == pytest.approx((1.016, 2.286))
    assert added.blueprint.units == "in"


def test_words_change_too_and_none_goes_back_to_the_default() -> None:
    brick = sim.change(little_room(DESK), {"desk.material": "brick", "title": "another"})
    assert brick.blueprint.furniture[0].material == "brick"
    assert brick.blueprint.title == "another"
    back = sim.change(brick, {"desk.material": None})
    assert "material" not in back.blueprint.furniture[0].model_fields_set
    assert sim.change(brick, {"desk.from_front": ["40 cm", 1.1]}).blueprint.furniture[0].from_front == (0.4, 1.1)  # type: ignore[attr-defined]


def test_things_are_added_and_removed() -> None:
    before = little_room(DESK)
    after = sim.add(before, "panels", CLOUD)
    assert after.blueprint.panels[0].from_front == (0.8, 1.6)
    assert sim.remove(after, "cloud").blueprint == sim.read_scene(before.blueprint).blueprint
    assert sim.remove(before, "desk").blueprint.furniture == ()


def test_what_is_changed_can_be_written_and_read_again(tmp_path: Path) -> None:
    changed = sim.change(BEDROOM, {"desk.tilt": 5})
    (tmp_path / "scene.toml").write_text(to_toml(changed.blueprint), encoding="utf-8")
    assert sim.read_scene(tmp_path).digest == changed.digest


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"desk.tilt": 99}, "desk.tilt = 99 degrees: it cannot have this value; it must be at most 45 degrees."),
        ({"desk.tlt": 5}, 'desk.tlt: "desk" has no number called "tlt"; choose one of'),
        ({"dsk.tilt": 5}, 'perhaps you mean "desk"'),
        ({"desk.top": "3 furlongs"}, 'desk.top: "3 furlongs" is not a length'),
        (
            {"desk.material": "bric"},
            'scene.toml, furniture[0].material: no material is called "bric"',
        ),
        ({"left.standing": "moon"}, 'left, standing: it is "moon"; it must be one of'),
        ({"room.width": 0.1}, "room.box.width: the room would be 0.1 m wide; write at least 1 m."),
    ],
)
def test_what_cannot_be_is_refused_with_the_sentences_of_files_and_sweeps(
    values: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(sim.SceneError) as fault:
        sim.change(little_room(DESK), values)
    assert sentence in str(fault.value)


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda room: sim.add(room, "panel", CLOUD), 'perhaps you mean "panels"'),
        (lambda room: sim.add(room, "panels", {"nam": "c"}), 'the scene, panels[0].nam: unknown key "nam"'),
        (lambda room: sim.add(room, "panels", {**CLOUD, "surface": "ceilin"}), 'perhaps you mean "ceiling"'),
        (lambda room: sim.remove(room, "dsk"), 'dsk: nothing in the scene is called so; perhaps you mean "desk"'),
        (lambda room: sim.remove(room, "left", "right"), "loudspeakers"),
    ],
)
def test_what_cannot_be_added_or_removed_is_refused(ask: Any, sentence: str) -> None:
    with pytest.raises(sim.SceneError) as fault:
        ask(little_room(DESK))
    assert sentence in str(fault.value)
