"""Orientations: read, turned, mirrored; a group of rotations; what stays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import SceneError
from sim.placement.poses import PlacedLoudspeaker, place
from sim.studies.orient.drivers import Keep, Orientation, oriented, read_orientations
from tests.studies.orient.orientation_scenes import EAR, pair

SCENES = {kind: pair(kind).blueprint for kind in ("two-way", "three-way", "coaxial")}


def placed(kind: str, roll: float, keep: Keep = "axis") -> list[PlacedLoudspeaker]:
    blueprint = oriented(SCENES[kind], Orientation("rolled", roll), keep)
    return [place(blueprint, record, 0.0) for record in blueprint.loudspeakers]


def test_orientations_are_read_once_each() -> None:
    orientations = read_orientations("upright, inverted,left,-90,30,390,out")
    assert [orientation.roll_deg for orientation in orientations] == [0.0, 180.0, -90.0, 30.0]
    assert orientations[1].name == "inverted" and orientations[3].name == "rolled by 30 degrees"


@pytest.mark.parametrize(
    ("text", "words"), [("sideways", "choose from upright"), (" , ", "there is none"), ("nan", "is no orientation")]
)
def test_what_is_no_orientation_is_told(text: str, words: str) -> None:
    with pytest.raises(SceneError, match=words):
        read_orientations(text)


@given(st.sampled_from(sorted(SCENES)), st.floats(-180.0, 180.0), st.sampled_from(("axis", "support")))
@settings(max_examples=30, deadline=None)
def test_four_quarter_turns_return_the_start(kind: str, roll: float, keep: Keep) -> None:
    for one, other in zip(placed(kind, roll, keep), placed(kind, roll + 4 * 90.0, keep), strict=True):
        assert other.driver_points == pytest.approx(one.driver_points, abs=1e-9)
        assert other.rotation == pytest.approx(one.rotation, abs=1e-9)


@given(st.floats(-180.0, 180.0))
@settings(max_examples=30, deadline=None)
def test_a_quarter_turn_takes_up_to_right(roll: float) -> None:
    """With the axis kept, turning by 90 degrees takes the box's up to where its right was, and right to minus up."""
    for one, turned, sign in zip(placed("two-way", roll), placed("two-way", roll + 90.0), (1.0, -1.0), strict=True):
        forward, right, up = one.rotation.T
        assert turned.rotation == pytest.approx(np.column_stack([forward, -sign * up, sign * right]), abs=1e-9)


@given(st.sampled_from(sorted(SCENES)), st.floats(-180.0, 180.0), st.sampled_from(("axis", "support")))
@settings(max_examples=30, deadline=None)
def test_left_and_right_stay_mirror_images(kind: str, roll: float, keep: Keep) -> None:
    left, right = placed(kind, roll, keep)
    mirrored = right.driver_points * [1.0, -1.0, 1.0] + [0.0, 2.0 * EAR[1], 0.0]
    assert left.driver_points == pytest.approx(mirrored, abs=1e-8)


@given(st.sampled_from(sorted(SCENES)), st.floats(-180.0, 180.0))
@settings(max_examples=30, deadline=None)
def test_the_axis_or_the_support_stays(kind: str, roll: float) -> None:
    start = placed(kind, 0.0)
    for before, kept, stood in zip(start, placed(kind, roll), placed(kind, roll, "support"), strict=True):
        assert kept.axis_point == pytest.approx(before.axis_point)
        first, now = before.corners, stood.corners
        assert first is not None and now is not None
        assert now[:, 2].min() == pytest.approx(first[:, 2].min(), abs=1e-8)
        assert now.mean(axis=0)[:2] == pytest.approx(first.mean(axis=0)[:2], abs=1e-8)
