"""Notches at the ear and the surfaces that make them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import ear_response
from sim.responses.notches import LEAST_DB, list_notches
from tests.built_scenes import box, built_scene_of

SOURCE, EAR = (2.0, 3.0, 1.2), (3.2, 3.0, 1.2)


def test_one_hard_floor_makes_the_notches_of_the_two_path_sum() -> None:
    """Ends 1.2 m apart, 0.45 m above a plane: 0.3 m longer (3-4-5 triangle), notches at (2n + 1) c/(2 * 0.3)."""
    room = box(8.0, 6.0, 5.0, {"all": "open", "floor": "hard"})
    built = built_scene_of(room, [(2.0, 3.0, 0.45)], (3.2, 3.0, 0.45))
    response = ear_response(built, trace_paths(built, 1))
    notches = list_notches(built, response, 150.0)
    speed = built.air.speed_of_sound_m_s
    expected = [(2 * n + 1) * speed / 0.6 for n in range(4)]
    found = sorted(notch.frequency_hz for notch in notches)[:4]
    assert found == pytest.approx(expected, rel=0.03)
    assert {notch.surface for notch in notches} == {"floor"}
    assert all(notch.driver == "point" for notch in notches)
    first = min(notches, key=lambda notch: notch.frequency_hz)
    # the direct sound alone lies 20 lg(1/|1 - 0.8|) above the bottom; the twelfth-octave mean sees less of it
    assert 3.0 < first.rise_db < 20.0 * np.log10(1.0 / 0.2)


def test_the_deepest_comes_first_and_shallow_ones_are_left_out() -> None:
    built = built_scene_of(box(4.2, 3.4, 2.4), [(0.42, 1.08, 1.22)], (1.6, 1.7, 1.2))
    notches = list_notches(built, ear_response(built, trace_paths(built, 2)), 150.0)
    depths = [notch.depth_db for notch in notches]
    assert depths == sorted(depths, reverse=True)
    assert min(depths) >= LEAST_DB
    assert all(150.0 <= notch.frequency_hz <= 8000.0 for notch in notches)


def test_nothing_but_direct_sound_has_no_notch() -> None:
    built = built_scene_of(box(8.0, 6.0, 5.0, "open"), [SOURCE], EAR)
    assert list_notches(built, ear_response(built, trace_paths(built, 1)), 150.0) == ()


def test_a_panel_that_fills_a_notch_or_makes_one_is_named() -> None:
    """One hard wall and the direct sound; wool where the wall mirrors, or out of the way."""
    room = box(8.0, 6.0, 5.0, {"all": "open", "left wall": "hard"})
    wool = {"name": "wool", "surface": "left wall", "material": "100 mm wool", "up": (1.2, 3.6)}
    at_the_mirror, aside = {**wool, "from_front": (1.4, 3.8)}, {**wool, "from_front": (5.0, 7.4)}
    found = []
    for panels in ([], [at_the_mirror], [aside]):
        built = built_scene_of(room, [(2.0, 0.45, 2.4)], (3.2, 0.45, 2.4), panels=panels)
        found.append(list_notches(built, ear_response(built, trace_paths(built, 1)), 400.0))
    bare, filled, unchanged = found
    assert all(notch.present and not notch.panel for notch in (*bare, *unchanged))
    assert len(bare) == len(unchanged) > 4
    gone = [notch for notch in filled if not notch.present]
    assert len(gone) > 3
    assert {(notch.panel, notch.surface) for notch in gone} == {("wool", "left wall")}
    assert max(notch.panel_rise_db for notch in gone) <= -1.0
    assert min(notch.rise_db for notch in gone) > 3.0
    # each was there before the panel came, as deep and with the same filling
    for notch in gone:
        before = min(bare, key=lambda other: abs(other.frequency_hz - notch.frequency_hz))
        assert notch.frequency_hz == before.frequency_hz
        assert notch.depth_db == pytest.approx(before.depth_db, abs=1e-6)
        assert notch.rise_db == pytest.approx(before.rise_db, abs=1e-6)
    # kept away or still there, each notch of the bare wall is accounted for
    assert len(gone) + sum(notch.present for notch in filled) >= len(bare)


def test_a_panel_that_deepens_a_notch_says_so() -> None:
    """A hard plate in an open wall is all that sends anything back."""
    room = box(8.0, 6.0, 5.0, {"all": "open"})
    plate = {
        "name": "plate",
        "surface": "left wall",
        "from_front": (0.5, 5.0),
        "up": (0.5, 4.5),
        "material": "plate",
    }
    plates: dict[str, Any] = {"open": {"absorption": [1.0] * 8, "source": "made up for a test"}}
    plates["plate"] = {"layers": [{"membrane": 50.0}, {"gap": 0.05}]}
    built = built_scene_of(room, [(2.0, 0.45, 2.4)], (3.2, 0.45, 2.4), panels=[plate], materials=plates)
    notches = list_notches(built, ear_response(built, trace_paths(built, 1)), 400.0)
    assert notches[0].present
    assert notches[0].panel == "plate"
    assert notches[0].panel_rise_db == pytest.approx(notches[0].rise_db)
    assert notches[0].panel_rise_db > 3.0
