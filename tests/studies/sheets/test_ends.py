from __future__ import annotations

import pytest

from sim.studies.sheets.surfaces import surfaces_of
from tests.studies.sheets.treated_rooms import lopsided, sloping


@pytest.mark.parametrize(
    ("name", "left", "right", "left_corner", "right_corner"),
    [
        ("front wall", "left wall", "right wall", "front left corner", "front right corner"),
        ("left wall", "rear wall", "front wall", "rear left corner", "front left corner"),
        ("right wall", "front wall", "rear wall", "front right corner", "rear right corner"),
        ("rear wall", "right wall", "left wall", "rear right corner", "rear left corner"),
    ],
)
def test_walls_name_both_corners(name: str, left: str, right: str, left_corner: str, right_corner: str) -> None:
    surface = next(s for s in surfaces_of(lopsided().built.room) if s.name == name)
    ends = surface.pieces[0].ends
    assert (ends.left, ends.right, ends.lower, ends.upper) == (left, right, "floor", "ceiling")
    assert (ends.left_corner, ends.right_corner) == (left_corner, right_corner)


def test_a_slope_names_what_it_meets() -> None:
    slope = next(s for s in surfaces_of(sloping().built.room) if s.kind == "slope")
    ends = slope.pieces[0].ends
    assert (ends.left, ends.right, ends.lower, ends.upper) == ("rear gable", "front gable", "left knee wall", "ceiling")
    assert ends.right_corner == "corner with front gable"


def test_a_ceiling_strip_starts_at_the_slope() -> None:
    ceiling = next(s for s in surfaces_of(sloping().built.room) if s.kind == "ceiling")
    assert ceiling.pieces[0].ends.left == "left slope"
    assert ceiling.pieces[0].ends.upper == "front gable"
