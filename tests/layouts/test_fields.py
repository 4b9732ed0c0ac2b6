"""Fields: found by name, set and read back, tied as mirror images, nothing else touched; faults in one sentence."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.reader import parse_scene, read_scene
from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.layouts.fields import find_field
from sim.layouts.values import read_value, value_of, with_value

SCENES = Path(__file__).resolve().parents[2] / "scenes"
STANDS = read_scene(SCENES / "bedroom-on-stands").blueprint
PANELS = """
[[panels]]
name = "side"
surface = "right wall"
from_front = [0.7, 1.3]
up = [0.6, 1.8]
material = "100 mm wool"

[[panels]]
name = "cloud"
surface = "ceiling"
from_front = [0.5, 1.1]
from_left = [1.1, 2.3]
material = "50 mm wool, 50 mm gap"

[[panels]]
name = "bass"
surface = "rear wall"
from_left = [0.3, 0.9]
up = [0.6, 1.8]
material = "membrane over 100 mm wool"
"""
WITH_PANELS = parse_scene(
    (SCENES / "bedroom-on-stands" / "scene.toml").read_text(encoding="utf-8") + PANELS, Path("nowhere")
).blueprint

# Fields with a stretch of values that each may have, whatever the others have.
RANGES = {
    "left.tilt": (-40.0, 40.0),
    "right.tilt": (-40.0, 40.0),
    "left.toe_in": (-30.0, 60.0),
    "left.roll": (-180.0, 180.0),
    "left.height": (0.8, 1.6),
    "left.from_left": (0.2, 1.6),
    "right.from_left": (1.8, 3.2),
    "left.from_front": (0.2, 1),
    "left.stand_height": (0.5, 1.2),
    "desk.depth": (0.1, 1.2),
    "desk.width": (0.3, 2.0),
    "desk.tilt": (-45.0, 45.0),
    "desk.height": (0.5, 1.2),
    "desk.thickness": (0.01, 0.1),
    "desk.far_edge": (0.1, 1.2),
    "desk.left_end": (0.1, 2.4),
    "desk.listener_edge": (0.6, 2.0),
    "desk.from_front": (0.1, 2.0),
    "desk.turn": (-180.0, 180.0),
    "ear.up": (0.9, 1.8),
    "ear.height": (0.9, 1.8),
    "seat.from_front": (0.5, 3.0),
    "room.height": (2.0, 4.0),
    "room.depth": (2.0, 9.0),
    "screen.tilt": (-45.0, 45.0),
    "screen.at.up": (0.75, 1.2),
    "models.five-inch.depth": (0.1, 0.4),
    "air.temperature_c": (-20.0, 50.0),
    "target.level_db": (-40.0, 0.0),
    "side.thickness": (0.02, 0.4),
    "cloud.thickness": (0.02, 0.4),
    "side.up": (0.0, 1.2),
    "side.gap": (0.0, 0.3),
    "head_box.depth": (0.0, 0.9),
}


@st.composite
def settings(draw: st.DrawFn) -> tuple[str, float]:
    name = draw(st.sampled_from(sorted(RANGES)))
    low, high = RANGES[name]
    return name, draw(st.floats(low, high, allow_nan=False))


def flat(value: Any, path: str = "") -> dict[str, Any]:
    """Every number and text of a scene by where it is."""
    if isinstance(value, dict):
        return {k: v for key, each in value.items() for k, v in flat(each, f"{path}.{key}").items()}
    if isinstance(value, list | tuple):
        return {k: v for number, each in enumerate(value) for k, v in flat(each, f"{path}.{number}").items()}
    return {path: value}


def changed_places(before: Blueprint, after: Blueprint) -> set[str]:
    one, other = flat(before.model_dump()), flat(after.model_dump())
    assert one.keys() == other.keys()
    return {key for key in one if one[key] != other[key]}


@given(settings())
def test_what_was_set_is_read_back_and_setting_it_again_changes_nothing(setting: tuple[str, float]) -> None:
    name, value = setting
    field = find_field(WITH_PANELS, name)
    changed = with_value(WITH_PANELS, field, value)
    assert value_of(changed, field) == pytest.approx(value, abs=2e-9)
    assert changed_places(changed, with_value(changed, field, value_of(changed, field))) == set()


@given(settings())
def test_nothing_but_the_field_and_its_partner_is_touched(setting: tuple[str, float]) -> None:
    name, value = setting
    field = find_field(WITH_PANELS, name)
    touched = changed_places(WITH_PANELS, with_value(WITH_PANELS, field, value))
    allowed = set()
    for path, rule in zip(field.places, field.rules, strict=True):
        kept = (*path[:-1], {"depth": "from_front", "width": "from_left"}[str(path[-1])]) if rule == "size" else path
        allowed.add("." + ".".join(str(part) for part in kept))
    assert all(any(place == each or place.startswith(f"{each}.") for each in allowed) for place in touched)


@given(settings())
def test_a_scene_comes_back_when_the_old_value_does(setting: tuple[str, float]) -> None:
    name, value = setting
    field = find_field(WITH_PANELS, name, tied=False)
    before = value_of(WITH_PANELS, field)
    if math.isnan(before):  # told as "ear": there is no number to come back to
        return
    back = with_value(with_value(WITH_PANELS, field, value), field, before)
    one, other = flat(WITH_PANELS.model_dump()), flat(back.model_dump())
    for key, kept in one.items():
        assert other[key] == (pytest.approx(kept, abs=3e-9) if isinstance(kept, float) else other[key])


@given(st.sampled_from(["tilt", "toe_in", "roll", "height", "from_front", "from_left"]), st.floats(0.3, 1.5))
def test_the_partner_is_the_mirror_image(key: str, value: float) -> None:
    """A mirror in the upright plane half-way between the two: heights and depths stay, across and roll turn over."""
    middle = 0.5 * (1.08 + 2.32)
    left, right = with_value(STANDS, find_field(STANDS, f"left.{key}"), value).loudspeakers
    assert right.acoustic_axis.from_left == pytest.approx(2.0 * middle - left.acoustic_axis.from_left, abs=2e-9)
    assert right.acoustic_axis.from_front == left.acoustic_axis.from_front
    assert right.acoustic_axis.up == left.acoustic_axis.up
    assert right.roll_deg == -left.roll_deg
    assert (right.tilt_deg, right.toe_in_deg) == (left.tilt_deg, left.toe_in_deg)


def test_untied_loudspeakers_move_alone() -> None:
    moved = with_value(STANDS, find_field(STANDS, "left.tilt", tied=False), 7.0)
    assert [one.tilt_deg for one in moved.loudspeakers] == [7.0, 0.0]


def test_a_shallower_desk_keeps_its_listener_edge_and_a_narrower_one_its_middle() -> None:
    desk = with_value(STANDS, find_field(STANDS, "desk.depth"), 0.5).furniture[0]
    assert desk.from_front == pytest.approx((0.8, 1.3))  # type: ignore[union-attr]
    desk = with_value(STANDS, find_field(STANDS, "desk.width"), 1.0).furniture[0]
    assert desk.from_left == pytest.approx((1.2, 2.2))  # type: ignore[union-attr]


def test_panel_thickness_changes_the_first_porous_layer_in_words() -> None:
    def material(panel: str, value: float) -> str:
        changed = with_value(WITH_PANELS, find_field(WITH_PANELS, f"{panel}.thickness"), value)
        return next(each.material for each in changed.panels if each.name == panel)

    assert material("side", 0.15) == "150 mm wool"
    assert material("cloud", 0.0753) == "75.3 mm wool, 50 mm gap"
    with pytest.raises(SceneError, match="choose more than 0 m"):
        material("side", 0.0)
    with pytest.raises(SceneError, match='its material "membrane over 100 mm wool" cannot be written in words'):
        find_field(WITH_PANELS, "bass.thickness")


def test_values_take_the_unit_of_the_scene_or_their_own() -> None:
    depth, tilt = find_field(STANDS, "desk.depth"), find_field(STANDS, "left.tilt")
    assert read_value(depth, "50", "cm") == pytest.approx(0.5)
    assert read_value(depth, "0.5", "m") == 0.5
    assert read_value(depth, "20 in", "m") == pytest.approx(0.508)
    assert read_value(tilt, "-7.5", "cm") == -7.5


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("nosuch.tilt", "nothing that can be varied begins so"),
        ("desk", "it names a thing and not a number of it; choose one of tilt, turn, height"),
        ("left.colour", '"left" has no number called "colour"; choose one of tilt, toe_in'),
        ("left.acoustic_axis", "has no number"),
        ("desk.from_front.5", "has no number"),
        ("ear.depth", '"ear" has no number called "depth"; choose one of height, from_front, from_left, up'),
        ("ear.", "has no number"),
    ],
)
def test_unknown_fields_are_told_in_a_sentence(name: str, words: str) -> None:
    with pytest.raises(SceneError, match=words):
        find_field(STANDS, name)


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("desk.tilt", 50.0, "desk.tilt = 50 degrees: it cannot have this value; it must be at most 45 degrees."),
        ("desk.height", -1.0, "desk.height = -1 m: it cannot have this value; it must be more than 0 m."),
        ("desk.depth", -0.1, "desk.depth = -0.1 m: nothing is of that size; choose more than 0 m."),
        ("air.temperature_c", 99.0, "air.temperature_c = 99: it cannot have this value; it must be at most 50."),
        ("ear.up", 100.0, "ear.up = 100 m: it is 100 m, longer than any room here (60 m); choose a smaller value."),
        ("left.tilt", float("inf"), "left.tilt = inf degrees: it is no finite number; choose another value."),
    ],
)
def test_values_that_cannot_be_are_told_in_a_sentence(name: str, value: float, sentence: str) -> None:
    with pytest.raises(SceneError) as fault:
        with_value(STANDS, find_field(STANDS, name), value)
    assert str(fault.value) == sentence


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("left.tilt", "5 cm", 'left.tilt: "5 cm" is no number; write it in degrees, without a unit'),
        ("desk.depth", "5 degrees", 'desk.depth: "5 degrees" is not a length; write a number and a unit'),
        ("air.temperature_c", "warm", 'air.temperature_c: "warm" is no number; write it in a plain number'),
    ],
)
def test_wrong_units_are_told_in_a_sentence(name: str, text: str, words: str) -> None:
    with pytest.raises(SceneError, match=words):
        read_value(find_field(STANDS, name), text, "m")
