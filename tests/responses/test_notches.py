"""Notches at the ear and the surfaces that make them."""

from __future__ import annotations

import numpy as np
import pytest

from sim.propagation.image_sources import trace_paths
from sim.responses.frequency import ear_response
from sim.responses.notches import LEAST_DB, list_notches
from tests.staged import box, stage_of

SOURCE, EAR = (2.0, 3.0, 1.2), (3.2, 3.0, 1.2)


def test_one_hard_floor_makes_the_notches_of_the_two_path_sum() -> None:
    """Ends 1.2 m apart, 0.45 m above a plane: 0.3 m longer (3-4-5 triangle), notches at (2n + 1) c/(2 * 0.3)."""
    room = box(8.0, 6.0, 5.0, {"all": "open", "floor": "hard"})
    stage = stage_of(room, [(2.0, 3.0, 0.45)], (3.2, 3.0, 0.45))
    response = ear_response(stage, trace_paths(stage, 1))
    notches = list_notches(stage, response, 150.0)
    speed = stage.air.speed_of_sound_m_s
    expected = [(2 * n + 1) * speed / 0.6 for n in range(4)]
    found = sorted(notch.frequency_hz for notch in notches)[:4]
    assert found == pytest.approx(expected, rel=0.03)
    assert {notch.surface for notch in notches} == {"floor"}
    assert all(notch.driver == "point" for notch in notches)
    first = min(notches, key=lambda notch: notch.frequency_hz)
    # the direct sound alone lies 20 lg(1/|1 - 0.8|) above the bottom; the twelfth-octave mean sees less of it
    assert 3.0 < first.rise_db < 20.0 * np.log10(1.0 / 0.2)


def test_the_deepest_comes_first_and_shallow_ones_are_left_out() -> None:
    stage = stage_of(box(4.2, 3.4, 2.4), [(0.42, 1.08, 1.22)], (1.6, 1.7, 1.2))
    notches = list_notches(stage, ear_response(stage, trace_paths(stage, 2)), 150.0)
    depths = [notch.depth_db for notch in notches]
    assert depths == sorted(depths, reverse=True)
    assert min(depths) >= LEAST_DB
    assert all(150.0 <= notch.frequency_hz <= 8000.0 for notch in notches)


def test_nothing_but_direct_sound_has_no_notch() -> None:
    stage = stage_of(box(8.0, 6.0, 5.0, "open"), [SOURCE], EAR)
    assert list_notches(stage, ear_response(stage, trace_paths(stage, 1)), 150.0) == ()
