"""What one scene changes against another."""

from __future__ import annotations

from pathlib import Path

from sim.blueprint.reader import parse_scene
from sim.blueprint.schema import Blueprint
from sim.studies.compare.many import differences
from tests.studies.compare.layouts import ON_DESK, ON_STANDS
from tests.studies.sweep.sweep_scenes import TABLE


def scene(text: str) -> Blueprint:
    return parse_scene(text, Path("nowhere")).blueprint


def reported(one: str, other: str) -> list[str]:
    return [difference.words for difference in differences(scene(one), scene(other))]


def test_a_scene_differs_in_nothing_from_itself_whatever_it_is_called():
    assert reported(TABLE, TABLE) == []
    assert reported(TABLE, TABLE.replace('title = "A table"', 'title = "Another"\nnotes = ["Words."]')) == []


def test_what_left_and_right_share_is_told_once_in_the_unit_of_the_first_scene():
    higher = TABLE.replace("up = 1.1 }", "up = 1.25 }")
    assert reported(TABLE, higher) == ["left and right: acoustic_axis.up 1.1 m, then 1.25 m"]
    in_cm = TABLE.replace("[room]", 'units = "cm"\n[room]', 1)
    for metres in ("3.0", "4.0", "2.5", "2.0", "1.5", "1.2", "1.0", "1.1", "0.9", "1.8", "0.5", "0.7"):
        in_cm = in_cm.replace(metres, f'"{metres} m"')
    assert reported(in_cm, higher) == ["left and right: acoustic_axis.up 110 cm, then 125 cm"]
    assert reported(TABLE, in_cm) == []


def test_spans_angles_and_words_are_told_as_what_they_are():
    other = TABLE.replace("from_front = [0.9, 1.8]", "from_front = [1.0, 1.8]\ntilt_deg = 4")
    other = other.replace("from_front = 2.0, from_left = 1.5", "from_front = 2.1, from_left = 1.5")
    assert sorted(reported(TABLE, other)) == [
        "desk: from_front 0.9 m to 1.8 m, then 1 m to 1.8 m",
        "desk: tilt_deg 0, then 4",
        "seat: ear.from_front 2 m, then 2.1 m",
    ]


def test_things_that_are_new_or_gone_are_named_once():
    without = TABLE.split("[[furniture]]")[0]
    assert reported(TABLE, without) == ["desk is gone"]
    assert reported(without, TABLE) == ["desk is new"]


def test_demo_layouts_differ_where_their_files_do():
    words = reported(ON_DESK, ON_STANDS)
    assert 'left and right: standing "desk", then "stand"' in words
    assert "left and right: acoustic_axis.from_front 0.62 m, then 0.42 m" in words
    assert not any("room" in one or "screen" in one for one in words)
