import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.loudspeakers.box_directivity import box_directivity
from sim.loudspeakers.box_tables import BoxedDriver
from sim.loudspeakers.catalogue import KINDS, TYPICAL, Design, Kind, Loudspeaker, generic_loudspeaker
from sim.loudspeakers.signal import branch_responses

SPEED = 343.2
FREQUENCIES = np.geomspace(40.0, 20000.0, 60)


def unit(forward: float, right: float, up: float) -> np.ndarray:
    direction = np.array([forward, right, up], dtype=float)
    return direction / np.linalg.norm(direction)


def far_pressure(loudspeaker: Loudspeaker, direction: np.ndarray, frequencies: np.ndarray) -> np.ndarray:
    """Sum of the drivers far away, each with the phase of its own place."""
    total = np.zeros(len(frequencies), dtype=complex)
    for index, driver in enumerate(loudspeaker.drivers):
        nearer_m = float(np.dot(driver.offset_m, direction))
        radiated = loudspeaker.driver_radiation(index, direction[None], frequencies, SPEED)[0]
        total += radiated * np.exp(2j * np.pi * frequencies / SPEED * nearer_m)
    return total


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("flush", [False, True])
def test_typical_loudspeakers_are_flat_on_axis(kind: Kind, flush: bool) -> None:
    loudspeaker = generic_loudspeaker(kind, flush=flush)
    on_axis = far_pressure(loudspeaker, unit(1, 0, 0), FREQUENCIES)
    assert np.abs(on_axis) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_radiation_is_every_driver_in_turn(kind: Kind) -> None:
    loudspeaker = generic_loudspeaker(kind)
    directions = np.array([unit(1, 0.2, 0.1), unit(-1, 0.5, 0), unit(0, 0, 1)])
    together = loudspeaker.radiation(directions, FREQUENCIES, SPEED)
    assert together.shape == (len(loudspeaker.drivers), 3, len(FREQUENCIES))
    for index in range(len(loudspeaker.drivers)):
        alone = loudspeaker.driver_radiation(index, directions, FREQUENCIES, SPEED)
        assert np.array_equal(together[index], alone)


def test_radiation_is_branch_times_directivity() -> None:
    loudspeaker = generic_loudspeaker("two-way")
    direction = unit(0.5, 0.7, -0.3)
    branches = branch_responses((2200.0,), 24, FREQUENCIES)
    for index, (radius, side) in enumerate([(525, -1.0), (125, 1.0)]):
        driver = BoxedDriver(1800, 2900, 2300, 0, 750, radius)
        shape = box_directivity(driver, (1.0, side), direction[None], FREQUENCIES, SPEED)
        radiated = loudspeaker.driver_radiation(index, direction[None], FREQUENCIES, SPEED)
        assert radiated == pytest.approx(branches[index] * shape, abs=1e-12)


def test_two_way_layout() -> None:
    two_way = generic_loudspeaker("two-way")
    assert [driver.name for driver in two_way.drivers] == ["woofer", "tweeter"]
    woofer, tweeter = two_way.drivers
    assert tweeter.offset_m == (0.0, 0.0, 0.0)
    assert woofer.offset_m == pytest.approx((0.0, 0.0, -0.15))
    # The tweeter is 0.07 m below the top edge.
    assert two_way.axis_on_baffle_m == pytest.approx((0.0, 0.145 - 0.07))


def test_axis_between_the_drivers_of_a_two_way() -> None:
    two_way = generic_loudspeaker("two-way", Design(axis="between", spacing_m=0.14))
    woofer, tweeter = two_way.drivers
    assert tweeter.offset_m == pytest.approx((0.0, 0.0, 0.07))
    assert woofer.offset_m == pytest.approx((0.0, 0.0, -0.07))


def test_three_way_layout() -> None:
    three_way = generic_loudspeaker("three-way")
    woofer, mid, tweeter = three_way.drivers
    assert tweeter.offset_m == pytest.approx((0.0, 0.0, 0.05))
    assert mid.offset_m == pytest.approx((0.0, 0.0, -0.05))
    assert tweeter.offset_m[2] - woofer.offset_m[2] == pytest.approx(0.29)
    assert [driver.way for driver in three_way.drivers] == [0, 1, 2]


def test_turning_the_plate_moves_mid_and_tweeter_only() -> None:
    upright = generic_loudspeaker("three-way")
    turned = generic_loudspeaker("three-way", Design(plate_turn_deg=90.0))
    assert turned.axis_on_baffle_m == pytest.approx(upright.axis_on_baffle_m)
    woofer, mid, tweeter = turned.drivers
    assert woofer.offset_m == pytest.approx(upright.drivers[0].offset_m)
    assert tweeter.offset_m == pytest.approx((0.0, 0.05, 0.0))
    assert mid.offset_m == pytest.approx((0.0, -0.05, 0.0))


@pytest.mark.parametrize(
    ("spacing", "frequency", "null_deg", "half_deg"),
    [(0.15, 2000.0, 34.890, 22.416), (0.17, 2500.0, 23.814, 15.615), (0.15, 3000.0, 22.416, 14.728)],
)
def test_two_way_lobes_up_and_down(spacing: float, frequency: float, null_deg: float, half_deg: float) -> None:
    # Two equal drivers in phase: |cos(pi d f sin(t)/c)|; null at sin t = c/(2 d f), -6 dB at c/(3 d f).
    # Tiny drivers flush in a wall, so that only the lobe is left.
    two_way = generic_loudspeaker(
        "two-way",
        Design(
            height_m=0.40,
            spacing_m=spacing,
            woofer_diameter_m=1e-4,
            tweeter_diameter_m=1e-4,
            crossovers_hz=(frequency,),
        ),
        flush=True,
    )
    for sign in (1.0, -1.0):
        for degrees, expected in [(null_deg, 0.0), (half_deg, 0.5)]:
            angle = math.radians(degrees)
            upward = unit(math.cos(angle), 0.0, sign * math.sin(angle))
            sideways = unit(math.cos(angle), sign * math.sin(angle), 0.0)
            at_crossover = np.array([frequency])
            assert np.abs(far_pressure(two_way, upward, at_crossover)) == pytest.approx(expected, abs=2e-4)
            assert np.abs(far_pressure(two_way, sideways, at_crossover)) == pytest.approx(1.0, abs=1e-4)


@settings(deadline=None)
@given(roll=st.floats(-180.0, 180.0), off_axis=st.floats(0.0, 180.0), round_axis=st.floats(0.0, 360.0))
def test_coaxial_does_not_notice_roll(roll: float, off_axis: float, round_axis: float) -> None:
    """In a wall; in a box its edges do."""
    coaxial = generic_loudspeaker("coaxial", flush=True)
    away, about = math.radians(off_axis), math.radians(round_axis)

    def toward(turn: float) -> np.ndarray:
        across = math.sin(away)
        return unit(math.cos(away), across * math.cos(about + turn), across * math.sin(about + turn))

    upright = far_pressure(coaxial, toward(0.0), FREQUENCIES)
    rolled = far_pressure(coaxial, toward(math.radians(roll)), FREQUENCIES)
    assert rolled == pytest.approx(upright, abs=1e-9)


def test_two_way_does_notice_roll() -> None:
    two_way = generic_loudspeaker("two-way")
    frequencies = np.array([2200.0])
    up = np.abs(far_pressure(two_way, unit(1.0, 0.0, 0.6), frequencies))
    right = np.abs(far_pressure(two_way, unit(1.0, 0.6, 0.0), frequencies))
    assert right > 1.5 * up


def test_point_is_even_in_all_directions_with_and_without_a_box() -> None:
    directions = np.array([unit(1, 0, 0), unit(0, 1, 0), unit(-1, 0.2, 0.3)])
    bare = generic_loudspeaker("point")
    boxed = generic_loudspeaker("point", Design(width_m=0.2, height_m=0.3, depth_m=0.2))
    assert bare.cabinet_size_m is None
    assert boxed.cabinet_size_m == (0.2, 0.3, 0.2)
    for loudspeaker in (bare, boxed):
        assert np.all(loudspeaker.radiation(directions, FREQUENCIES, SPEED) == 1.0)


@pytest.mark.parametrize("kind", KINDS)
def test_flush_radiates_nothing_behind(kind: Kind) -> None:
    loudspeaker = generic_loudspeaker(kind, flush=True)
    assert np.all(loudspeaker.radiation([unit(-1.0, 0.5, 0.0)], FREQUENCIES, SPEED) == 0.0)
    assert np.all(np.abs(loudspeaker.radiation([unit(1, 0.1, 0)], [1000.0], SPEED)) > 0.0)


@pytest.mark.parametrize("kind", list(TYPICAL))
@settings(deadline=None)
@given(scale=st.floats(0.6, 2.5))
def test_defaults_fit_boxes_of_other_sizes(kind: Kind, scale: float) -> None:
    typical = TYPICAL[kind]
    loudspeaker = generic_loudspeaker(
        kind,
        Design(width_m=typical.width_m * scale, height_m=typical.height_m * scale, depth_m=typical.depth_m * scale),
    )
    assert loudspeaker.mass_kg == pytest.approx(typical.mass_kg * scale**3)


@pytest.mark.parametrize(
    ("kind", "wishes", "word"),
    [
        ("two-way", {"woofer_diameter_m": 0.2}, "sticks out of its baffle"),
        ("two-way", {"spacing_m": 0.3}, "woofer .* sticks out"),
        ("two-way", {"spacing_m": 0.05}, "overlap"),
        ("three-way", {"mid_spacing_m": 0.03}, "mid and the tweeter .* overlap"),
        ("two-way", {"crossovers_hz": (450.0, 2800.0)}, "crossover frequencies"),
        ("two-way", {"slope_db_per_octave": 6}, "12, 18 or 24"),
        ("two-way", {"axis": "woofer"}, "choose 'tweeter' or 'between'"),
        ("two-way", {"depth_m": 0.0}, "side of zero"),
        ("two-way", {"woofer_diameter_m": -0.1}, "radius"),
        ("four-way", {}, "not a kind"),
        ("point", {"width_m": 0.2}, "incomplete cabinet"),
    ],
)
def test_what_cannot_be_built_is_refused(kind: Kind, wishes: dict[str, Any], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        generic_loudspeaker(kind, Design(**wishes))
