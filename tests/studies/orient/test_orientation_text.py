"""An orientation study in words."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest

from sim.showing.numbers import db_change
from sim.studies.orient.drivers import Keep, read_orientations
from sim.studies.orient.findings import find
from sim.studies.orient.study import OrientationStudy, study_orientation
from sim.studies.orient.text import orientation_lines
from tests.built_scenes import desk
from tests.loudspeakers.test_polar_files import table
from tests.studies.orient.orientation_scenes import pair


@lru_cache(maxsize=8)
def study_of(kind: str, orientations: str, keep: Keep = "axis") -> OrientationStudy:
    return study_orientation(pair(kind), read_orientations(orientations), keep)


def text_of(kind: str, orientations: str = "upright,inverted,left,right", keep: Keep = "axis") -> str:
    return " ".join(" ".join(orientation_lines(study_of(kind, orientations, keep))).split())


def test_a_two_way_is_told_to_lose_evenness_on_its_side() -> None:
    text = text_of("two-way")
    left = find(study_of("two-way", "upright,inverted,left,right"))[0]
    assert "On its side it loses evenness from left to right near 2.2 kHz" in text
    assert f"{db_change(max(left.across_db[2:]))} over the seat against {db_change(max(left.across_db[:2]))}" in text
    assert "common practice" in text
    assert f"changes direct sound by {db_change(left.stacking_db)} at most up to 400 Hz" in text
    assert "right: the mirror image of left, equal within 0.5 dB in every orientation" in text


def test_a_coaxial_is_told_to_stay_as_it_is() -> None:
    """Turned, only the edges of its box send differently: no orientation is better, none is even worse by much."""
    text = text_of("coaxial", "upright,left")
    assert text.startswith("Leave them upright: measure ")
    assert "no other orientation, aimed alike, is better by 1 dB" in text
    assert "loses evenness" not in text
    assert "Reflection off the ceiling: equal within 0.5 dB in every orientation" in text


def test_orientations_that_do_not_fit_are_left_out_of_what_is_equal() -> None:
    """A coaxial 0.35 m high and 0.25 m wide with its axis 0.14 m above the desk fits lying only."""
    wide = desk((0.05, 1.4), (0.6, 2.8), 0.70)
    scene = pair("coaxial", height=0.84, tilt_deg=0.0, roll="on its left side", furniture=[wide])
    study = study_orientation(scene, read_orientations("upright,left"))
    text = " ".join(" ".join(orientation_lines(study)).split())
    assert "upright: it does not fit" in text
    assert "Reflection off the desk top: in every orientation that fits, " in text
    assert "weakest" not in text


def test_a_point_has_no_drivers_to_compare() -> None:
    text = text_of("point", "upright,left")
    assert "left (point), no crossover: looked at round 2 kHz" in text
    assert "cancel at" not in text


def test_a_box_measured_as_a_whole_has_no_drivers_to_tell_apart(tmp_path: Path) -> None:
    table(tmp_path / "box.csv")
    sizes = {"width": 0.18, "height": 0.29, "depth": 0.23}
    scene = replace(pair("measured", model={"file": "box.csv", **sizes}), folder=tmp_path)
    text = " ".join(
        " ".join(orientation_lines(study_orientation(scene, read_orientations("upright,inverted,left")))).split()
    )
    assert "left (measured), no crossover: looked at round 2 kHz" in text
    assert "All its sound is taken to leave from one point" in text
    assert "as the woofer is" not in text
    assert "Which driver is on top" not in text


@pytest.mark.parametrize(
    ("keep", "words"), [("axis", "axis point where it is"), ("support", "the acoustic axis moves")]
)
def test_what_stays_is_said(keep: Keep, words: str) -> None:
    assert words in text_of("two-way", "upright,inverted", keep)


def test_lines_have_a_length_to_print() -> None:
    assert max(len(line) for line in orientation_lines(study_of("two-way", "upright,inverted"))) <= 130
