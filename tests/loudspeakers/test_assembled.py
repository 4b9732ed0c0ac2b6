"""Loudspeakers driver by driver: shares of the signal, lobes, and what equalisation does."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.loudspeakers.assembled import GivenDriver, assembled_loudspeaker, measured_loudspeaker
from sim.loudspeakers.catalogue import Design, generic_loudspeaker
from sim.loudspeakers.signal import band_response, two_branches
from tests.loudspeakers.test_directivity_data import CARDIOID, NARROW, orbits

SPEED = 343.2
FREQUENCIES = np.geomspace(60.0, 16000.0, 80)
BOX = (0.28, 0.62, 0.35)
TWEETER = GivenDriver("tweeter", 0.025, 0.0, 0.40, from_hz=2500.0)
UPPER = GivenDriver("upper woofer", 0.14, 0.0, 0.52, to_hz=2500.0)
LOWER = GivenDriver("lower woofer", 0.14, 0.0, 0.28, to_hz=2500.0)


def away(off_deg: float, about_deg: float = 90.0) -> np.ndarray:
    """A direction off the axis; 90 degrees about is up."""
    off, about = np.radians([off_deg, about_deg])
    return np.array([[np.cos(off), np.sin(off) * np.cos(about), np.sin(off) * np.sin(about)]])


def test_double_woofers_share_their_band_and_keep_in_step_with_the_tweeter() -> None:
    double = assembled_loudspeaker("double", BOX, [UPPER, TWEETER, LOWER])
    low, high = two_branches(2500.0, 24, FREQUENCIES)
    assert double.fractions(FREQUENCIES) == pytest.approx(np.stack([0.5 * low, high, 0.5 * low]), abs=1e-12)
    assert np.abs(double.far_pressure(away(0.0), FREQUENCIES, SPEED)) == pytest.approx(1.0)


@settings(deadline=None)
@given(off=st.floats(0.0, 180.0), about=st.floats(-180.0, 180.0))
def test_woofers_above_and_below_the_tweeter_radiate_alike_up_and_down(off: float, about: float) -> None:
    """About the middle of a box, whose upper and lower halves are alike."""
    middle = [replace(each, above_bottom_m=each.above_bottom_m - 0.09) for each in (UPPER, TWEETER, LOWER)]
    double = assembled_loudspeaker("double", BOX, middle)
    up, down = (double.far_pressure(away(off, turn), FREQUENCIES, SPEED) for turn in (about, -about))
    assert down == pytest.approx(up, abs=1e-9)


@pytest.mark.parametrize("apart", [0.12, 0.24])
def test_two_woofers_null_where_their_ways_differ_by_half_a_wavelength(apart: float) -> None:
    """sin(angle) = lambda/(2 d), with the level of the pair |cos(pi d sin(angle)/lambda)| times that of one.

    In a wall, where neither has edges of its own beside it.
    """
    woofers = [
        replace(UPPER, above_bottom_m=0.31 + 0.5 * apart, diameter_m=0.1),
        replace(LOWER, above_bottom_m=0.31 - 0.5 * apart, diameter_m=0.1),
    ]
    pair = assembled_loudspeaker(
        "pair", BOX, [replace(w, to_hz=np.inf) for w in woofers], axis_m=(0.0, 0.31), flush=True
    )
    frequency = 1500.0
    null = np.degrees(np.arcsin(SPEED / frequency / (2.0 * apart))) if SPEED / frequency < 2.0 * apart else 90.0
    one = replace(pair, drivers=(replace(pair.drivers[0], offset_m=(0.0, 0.0, 0.0)),))
    for off in (10.0, 20.0, null):
        wanted = abs(np.cos(np.pi * apart * np.sin(np.radians(off)) * frequency / SPEED))
        alone = abs(one.far_pressure(away(off), [frequency], SPEED)[0, 0])
        assert abs(pair.far_pressure(away(off), [frequency], SPEED)[0, 0]) == pytest.approx(wanted * alone, abs=1e-9)
    sideways = abs(pair.far_pressure(away(40.0, 0.0), [frequency], SPEED)[0, 0])
    assert sideways == pytest.approx(abs(one.far_pressure(away(40.0, 0.0), [frequency], SPEED)[0, 0]))


def test_a_band_is_both_filters() -> None:
    low = two_branches(3000.0, 18, FREQUENCIES)[0]
    high = two_branches(400.0, 18, FREQUENCIES)[1]
    assert band_response(400.0, 3000.0, 18, FREQUENCIES) == pytest.approx(low * high)
    assert band_response(0.0, np.inf, 24, FREQUENCIES) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="has no width"):
        band_response(3000.0, 400.0, 24, FREQUENCIES)


@pytest.mark.parametrize("slope", [12, 18, 24])
def test_own_drivers_like_a_generic_two_way_radiate_like_it(slope: int) -> None:
    generic = generic_loudspeaker("two-way", Design(slope_db_per_octave=slope))
    own = assembled_loudspeaker(
        "own",
        (0.18, 0.29, 0.23),
        [
            GivenDriver("woofer", 0.105, 0.0, 0.07, to_hz=2200.0, slope_db_per_octave=slope),
            GivenDriver("tweeter", 0.025, 0.0, 0.22, from_hz=2200.0, slope_db_per_octave=slope),
        ],
    )
    assert own.axis_on_baffle_m == pytest.approx(generic.axis_on_baffle_m)
    for off in (0.0, 25.0, 80.0, 150.0):
        assert own.far_pressure(away(off), FREQUENCIES, SPEED) == pytest.approx(
            generic.far_pressure(away(off), FREQUENCIES, SPEED), abs=1e-9
        )


def test_a_three_way_of_plain_filters_is_made_flat_on_its_axis() -> None:
    """Low, middle and high filters of their own do not add up to an all-pass; the maker's equaliser makes them."""
    three = assembled_loudspeaker(
        "three",
        BOX,
        [replace(LOWER, to_hz=500.0), GivenDriver("mid", 0.08, 0.0, 0.46, from_hz=500.0, to_hz=2500.0), TWEETER],
    )
    assert np.abs(three.far_pressure(away(0.0), FREQUENCIES, SPEED)) == pytest.approx(1.0)


def test_a_delay_tilts_the_lobe_toward_the_late_driver() -> None:
    """Late by tau, a driver is level with the other where its way is c tau shorter: sin(angle) = c tau/d."""
    late = 0.05
    plain = [replace(LOWER, to_hz=2500.0), TWEETER]
    tilted = assembled_loudspeaker(
        "late", BOX, [replace(plain[0], delay_ms=late), TWEETER], axis_m=(0.0, 0.40), flush=True
    )
    apart = 0.12
    angles = np.linspace(-40.0, 40.0, 321)
    pressure = np.array([abs(tilted.far_pressure(away(a), [2500.0], SPEED)[0, 0]) for a in angles])
    single = np.array(
        [
            abs(tilted.driver_radiation(0, away(a), [2500.0], SPEED)[0, 0])
            + abs(tilted.driver_radiation(1, away(a), [2500.0], SPEED)[0, 0])
            for a in angles
        ]
    )
    steepest = angles[int(np.argmax(pressure / single))]
    assert steepest == pytest.approx(-np.degrees(np.arcsin(SPEED * late * 1e-3 / apart)), abs=1.5)


def test_gain_and_polarity() -> None:
    louder = assembled_loudspeaker("a", BOX, [LOWER, replace(TWEETER, gain_db=6.0)])
    ratio = np.abs(louder.fractions(np.array([2500.0])))[:, 0]
    assert ratio[1] / ratio[0] == pytest.approx(10.0 ** (6.0 / 20.0))
    with pytest.raises(ValueError, match=r"cancel each other on the axis at 2[45]\d\d Hz; turn the polarity"):
        assembled_loudspeaker("a", BOX, [LOWER, replace(TWEETER, inverted=True)])
    # a second-order filter wires the tweeter in reverse by itself
    second = [replace(LOWER, slope_db_per_octave=12), replace(TWEETER, slope_db_per_octave=12)]
    assert np.abs(assembled_loudspeaker("a", BOX, second).fractions(FREQUENCIES).sum(axis=0)) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="cancel"):
        assembled_loudspeaker("a", BOX, [second[0], replace(second[1], inverted=True)])


@settings(deadline=None, max_examples=30)
@given(off=st.floats(0.0, 180.0), about=st.floats(-180.0, 180.0), roll=st.floats(-180.0, 180.0))
def test_a_tweeter_inside_a_woofer_does_not_notice_roll(off: float, about: float, roll: float) -> None:
    """In a wall; in a box its edges do."""
    woofer = replace(LOWER, above_bottom_m=0.4)
    coaxial = assembled_loudspeaker("coaxial", BOX, [woofer, TWEETER], flush=True)
    one, other = (coaxial.far_pressure(away(off, turn), FREQUENCIES, SPEED) for turn in (about, about + roll))
    assert other == pytest.approx(one, abs=1e-9)


def test_a_waveguide_narrows_its_driver() -> None:
    bare = assembled_loudspeaker("a", BOX, [LOWER, TWEETER])
    horned = assembled_loudspeaker("a", BOX, [LOWER, replace(TWEETER, waveguide_diameter_m=0.09, coverage_deg=80.0)])
    frequencies = [3500.0, 5000.0]
    ahead, side = away(0.0), away(40.0, 0.0)
    assert np.abs(horned.driver_radiation(1, ahead, frequencies, SPEED)) == pytest.approx(
        np.abs(bare.driver_radiation(1, ahead, frequencies, SPEED))
    )
    loss = np.abs(
        horned.driver_radiation(1, side, frequencies, SPEED) / horned.driver_radiation(1, ahead, frequencies, SPEED)
    )
    assert 20.0 * np.log10(loss[0, 1]) == pytest.approx(-6.0, abs=0.7)


def test_measured_drivers_keep_their_own_data() -> None:
    wide, narrow = orbits(CARDIOID, CARDIOID), orbits(NARROW, NARROW)
    both = assembled_loudspeaker(
        "m", BOX, [replace(LOWER, data=wide), replace(TWEETER, data=narrow), replace(UPPER, data=wide)]
    )
    assert [driver.data_number for driver in both.drivers] == [0, 1, 0]
    fraction = both.fractions(np.array([1000.0]))[:, 0]
    toward = both.radiation(away(60.0), [1000.0], SPEED)[:, 0, 0] / fraction
    assert toward == pytest.approx([0.775, np.exp(-0.75), 0.775])


def test_a_whole_box_is_one_driver_at_the_axis_point() -> None:
    data = orbits(CARDIOID, NARROW, has_phase=False)
    whole = measured_loudspeaker("m", data, box_m=(0.2, 0.3, 0.25), axis_m=(0.0, 0.21))
    assert whole.driver_offsets_m == ((0.0, 0.0, 0.0),)
    assert whole.axis_on_baffle_m == pytest.approx((0.0, 0.06))
    assert whole.far_pressure(away(60.0, 0.0), [1000.0], SPEED)[0, 0] == pytest.approx(0.775)
    assert any("no phase" in note for note in whole.notes)
    flush = measured_loudspeaker("m", data, flush=True)
    assert flush.far_pressure(away(120.0), [1000.0], SPEED)[0, 0] == 0.0


def test_ways_and_handovers_follow_from_the_bands() -> None:
    """As an orientation study needs them: which drivers play together, and where one hands over to the next."""
    mid = GivenDriver("mid", 0.08, 0.0, 0.46, from_hz=500.0, to_hz=2400.0)
    three = assembled_loudspeaker("three", BOX, [TWEETER, mid, replace(LOWER, to_hz=500.0)])
    assert [driver.way for driver in three.drivers] == [2, 1, 0]
    assert three.crossovers_hz == pytest.approx((500.0, math.sqrt(2400.0 * 2500.0)))
    double = assembled_loudspeaker("double", BOX, [UPPER, TWEETER, LOWER])
    assert [driver.way for driver in double.drivers] == [0, 1, 0]
    four = [
        GivenDriver(f"driver {n}", 0.02, 0.0, 0.1 * n, from_hz=low, to_hz=high)
        for n, (low, high) in enumerate([(0.0, 100.0), (100.0, 800.0), (800.0, 4000.0), (4000.0, np.inf)], start=1)
    ]
    assert assembled_loudspeaker("four", BOX, four).crossovers_hz == pytest.approx((100.0, 800.0, 4000.0))
    assert assembled_loudspeaker("one", BOX, [replace(LOWER, to_hz=np.inf)]).crossovers_hz == ()


def test_what_a_ruler_gets_wrong_is_refused() -> None:
    with pytest.raises(ValueError, match="two drivers of 'a' are called tweeter"):
        assembled_loudspeaker("a", BOX, [TWEETER, TWEETER])
    with pytest.raises(ValueError, match=r"overlap by 2[23] mm"):
        assembled_loudspeaker("a", BOX, [replace(LOWER, above_bottom_m=0.34), TWEETER])
    with pytest.raises(ValueError, match="sticks out of its baffle"):
        assembled_loudspeaker("a", BOX, [replace(LOWER, above_bottom_m=0.05)])
    with pytest.raises(ValueError, match="no driver"):
        assembled_loudspeaker("a", BOX, [])


def test_bands_that_do_not_meet_are_refused() -> None:
    with pytest.raises(
        ValueError, match=r"no driver of 'a' plays at \d+ Hz, the loudest is \d\d dB down; let the bands"
    ):
        assembled_loudspeaker("a", BOX, [replace(LOWER, to_hz=400.0), TWEETER])
    # a satellite may end where its drivers end
    satellite = assembled_loudspeaker("a", BOX, [replace(LOWER, from_hz=250.0), replace(TWEETER, to_hz=9000.0)])
    assert np.abs(satellite.fractions(np.array([1000.0])).sum(axis=0)) == pytest.approx(1.0)


def test_an_axis_beside_the_front_and_a_mouth_narrower_than_its_driver_are_refused() -> None:
    with pytest.raises(
        ValueError, match=r"axis point of 'a' lies 130 mm outside its front \(0\.28 m wide and 0\.62 m high"
    ):
        assembled_loudspeaker("a", BOX, [LOWER, TWEETER], axis_m=(0.0, 0.75))
    with pytest.raises(ValueError, match="axis point of 'm' lies 10 mm outside its front"):
        measured_loudspeaker("m", orbits(CARDIOID, NARROW), box_m=(0.2, 0.3, 0.25), axis_m=(-0.11, 0.21))
    with pytest.raises(ValueError, match="is 20 mm wide, narrower than the driver"):
        assembled_loudspeaker("a", BOX, [LOWER, replace(TWEETER, waveguide_diameter_m=0.02)])
