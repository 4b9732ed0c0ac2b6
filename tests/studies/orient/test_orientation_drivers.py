"""Arrival times along the seat, nulls at sin(angle) = lambda/(2 d), lobes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.placement.built_scene import build_scene
from sim.studies.orient.drivers import circle, driver_times, lobes, polars
from tests.built_scenes import NOWHERE
from tests.studies.orient.orientation_scenes import EAR, pair


def left(kind: str, **more: object):  # type: ignore[no-untyped-def]
    return build_scene(pair(kind, **more).blueprint, NOWHERE).loudspeakers[0]  # type: ignore[arg-type]


def test_lag_by_hand() -> None:
    """A box that looks straight ahead, on its right side: the woofer 0.15 m to the left of the tweeter, its axis."""
    one = left("two-way", roll=90.0, toe_in_deg=0.0, tilt_deg=0.0)
    (times,) = driver_times(one, np.array(EAR), 0.15, 343.0)
    woofer, tweeter = np.array([0.5, 1.1 - 0.15, 1.2]), np.array([0.5, 1.1, 1.2])
    for across in (-0.15, 0.0, 0.15):
        ear = np.add(EAR, (0.0, across, 0.0))
        lag = 1000.0 * (math.dist(ear, woofer) - math.dist(ear, tweeter)) / 343.0
        assert float(np.interp(across, times.across_m, times.lag_ms)) == pytest.approx(lag, abs=1e-5)
    ends = [np.interp(across, times.across_m, times.lag_ms) for across in (-0.15, 0.15)]
    assert times.change_ms == pytest.approx(abs(ends[1] - ends[0]), abs=1e-4)


@pytest.mark.parametrize("roll", [90.0, -90.0])
def test_far_away_the_null_is_where_the_sine_is_half_a_wavelength_over_the_spacing(roll: float) -> None:
    """Linkwitz, J. Audio Eng. Soc. 24 (1976): drivers d apart cancel at sin(angle) = lambda/(2 d)."""
    spacing, crossover = 0.15, 2200.0
    one = left("two-way", roll=roll, toe_in_deg=0.0, tilt_deg=0.0)
    distance = 2.0
    ear = np.add(one.axis_point, (distance, 0.0, 0.0))
    (times,) = driver_times(one, ear, 0.15, 343.0)
    angle = math.asin(343.0 / crossover / (2.0 * spacing))
    assert abs(times.null_m) == pytest.approx(distance * math.tan(angle), rel=0.12)


def test_upright_no_seat_beside_it_has_a_null() -> None:
    (times,) = driver_times(left("two-way"), np.array(EAR), 0.15, 343.0)
    assert math.isnan(times.null_m)


def test_a_coaxial_and_a_point_have_no_lag() -> None:
    (times,) = driver_times(left("coaxial", roll=90.0), np.array(EAR), 0.15, 343.0)
    assert times.change_ms == pytest.approx(0.0, abs=1e-9)
    assert driver_times(left("point"), np.array(EAR), 0.15, 343.0) == ()
    assert lobes(left("point"), np.array(EAR), 343.0) == ()
    assert len(polars(left("point"), np.array(EAR), 343.0)) == 1


@given(st.sampled_from([0.0, 90.0, 180.0, -90.0]))
@settings(max_examples=4, deadline=None)
def test_the_lobe_turns_with_the_box(roll: float) -> None:
    """Near by, the loudest direction leans from the tweeter's axis toward the woofer's side, wherever that is."""
    (lobe,) = lobes(left("two-way", roll=roll), np.array(EAR), 343.0)
    leaning = {0.0: (-1, 0), 180.0: (1, 0), 90.0: (0, -1), -90.0: (0, 1)}[roll]
    for found, sign in zip((lobe.up_deg, lobe.across_deg), leaning, strict=True):
        assert abs(found) < 0.5 if sign == 0 else found * sign > 1.0


def test_drivers_a_quarter_turn_apart_tilt_the_lobe_further() -> None:
    """Third-order Butterworth branches are 90 degrees apart (see sim.loudspeakers.signal).

    The ear is 0.97 dB further under; edges of the box raise the even one on its side by a tenth of a decibel.
    """
    even = lobes(left("two-way", model={"slope_db_per_octave": 24}), np.array(EAR), 343.0)[0]
    odd = lobes(left("two-way", model={"slope_db_per_octave": 18}), np.array(EAR), 343.0)[0]
    assert abs(odd.up_deg - even.up_deg) > 5.0
    assert odd.ear_under_db > even.ear_under_db + 0.9


def test_polars_are_one_at_the_axis_and_swap_planes_on_the_side() -> None:
    (upright,), (lying,) = (polars(left("two-way", roll=roll), np.array(EAR), 343.0) for roll in (0.0, 90.0))
    middle = len(upright.angle_deg) // 2
    assert upright.angle_deg[middle] == pytest.approx(0.0)
    assert upright.horizontal_db[middle] == upright.vertical_db[middle] == pytest.approx(0.0)
    # top to the right: what was above the axis is now to the right of it
    assert lying.horizontal_db == pytest.approx(upright.vertical_db, abs=1e-6)


def test_circles_stay_level_and_upright_however_the_box_is_rolled() -> None:
    one = left("two-way", roll=50.0, tilt_deg=0.0)
    level = circle(one, np.array([-90.0, 90.0]), 1.0, upright=False)
    assert level[:, 2] == pytest.approx(1.2)
    assert level[1, 1] > one.axis_point[1] > level[0, 1]
    upright = circle(one, np.array([90.0]), 1.0, upright=True)[0]
    assert upright == pytest.approx(np.add(one.axis_point, (0.0, 0.0, 1.0)), abs=1e-9)


def test_of_two_woofers_the_one_whose_lag_changes_most_is_told() -> None:
    """One above and one below the tweeter: upside down nothing changes, whichever was written first."""
    sizes = {"width": 0.18, "height": 0.44, "depth": 0.23}
    woofers = [
        {"name": name, "diameter": 0.105, "above_bottom": at, "to_hz": 2200.0}
        for name, at in (("upper woofer", 0.37), ("lower woofer", 0.07))
    ]
    tweeter = {"name": "tweeter", "diameter": 0.025, "above_bottom": 0.22, "from_hz": 2200.0}
    ear = np.add(EAR, (0.0, 0.0, 0.15))
    lags = []
    for roll in (0.0, 180.0):
        one = left("own drivers", model={**sizes, "drivers": [*woofers, tweeter]}, roll=roll, tilt_deg=0.0)
        (times,) = driver_times(one, ear, 0.15, 343.0)
        lags.append((times.change_ms, times.lower))
    assert lags[0][0] == pytest.approx(lags[1][0], abs=1e-9)
    assert {name for _, name in lags} == {"upper woofer", "lower woofer"}
