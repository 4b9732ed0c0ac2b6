"""Panels are read off the paper and off the room itself; both must say the same, and what the tape rules say."""

from __future__ import annotations

import numpy as np
import pytest

from sim.responses.records import Results
from sim.showing.tape import tape_coordinates
from sim.studies.sheets.readings import PanelReading, read_panels
from tests.studies.sheets.treated_rooms import lopsided, sloping


def reading(results: Results, name: str) -> PanelReading:
    return next(one for one in read_panels(results.built) if one.panel.name == name)


@pytest.mark.parametrize(
    ("name", "number", "first", "second"),
    [
        ("left panel", "P1", (0.61, 1.81, "up from the floor"), (0.70, 1.30, "from the front wall")),
        ("right panel", "P2", (0.80, 1.40, "up from the floor"), (1.00, 2.20, "from the front wall")),
        ("cloud", "P3", (0.90, 2.10, "from the front wall"), (0.50, 1.10, "from the left wall")),
        ("front panel", "P4", (0.40, 1.00, "up from the floor"), (0.30, 0.90, "from the left wall")),
    ],
)
def test_edges_are_those_of_the_scene(
    name: str, number: str, first: tuple[float, float, str], second: tuple[float, float, str]
) -> None:
    one = reading(lopsided(), name)
    assert one.number == number
    for reported, (near, far, words) in ((one.first, first), (one.second, second)):
        assert (reported.near_m, reported.far_m, reported.centre_m) == pytest.approx((near, far, 0.5 * (near + far)))
        assert reported.words == words


def test_on_a_slope_lengths_run_along_it() -> None:
    one = reading(sloping(), "slope panel")
    lift = np.sqrt(2.0)
    assert (one.first.near_m, one.first.far_m) == pytest.approx((0.60 * lift, 1.40 * lift))
    assert one.first.words == "up the slope from the left knee wall"
    assert (one.second.near_m, one.second.far_m) == pytest.approx((0.92, 1.52))
    assert one.second.words == "from the front gable"
    assert (one.width_m, one.height_m) == pytest.approx((0.60, 0.80 * lift))
    assert one.rising_diagonal_m == pytest.approx(np.hypot(0.60, 0.80 * lift))


@pytest.mark.parametrize("results", [lopsided, sloping])
def test_centres_agree_with_the_tape_rules_of_the_reflection_points(results: object) -> None:
    traced = results()  # type: ignore[operator]
    for one in read_panels(traced.built):
        tape = tape_coordinates(traced.built.room, one.piece.facet, one.panel.corners_m.mean(axis=0))
        assert (tape.first_from, tape.second_from) == (one.first.words, one.second.words)
        assert (tape.first_m, tape.second_m) == pytest.approx((one.first.centre_m, one.second.centre_m), abs=1e-6)


def test_both_diagonals_are_measured_in_the_room() -> None:
    for one in read_panels(lopsided().built):
        corners = one.panel.corners_m
        across = sorted(
            [float(np.linalg.norm(corners[2] - corners[0])), float(np.linalg.norm(corners[3] - corners[1]))]
        )
        assert sorted([one.rising_diagonal_m, one.falling_diagonal_m]) == pytest.approx(across)
