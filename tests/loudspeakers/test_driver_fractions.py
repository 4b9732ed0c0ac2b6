"""What each driver is sent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.loudspeakers.signal import (
    MOST_LIFT_DB,
    SLOPES_DB_PER_OCTAVE,
    Driver,
    adjusted_fractions,
    branch_responses,
    driver_fractions,
    two_branches,
)

FREQUENCIES = np.geomspace(40.0, 18000.0, 200)
WOOFER, MID, TWEETER = (
    Driver(name, way, 0.01, (0.0, 0.0, 0.0)) for way, name in enumerate(("woofer", "mid", "tweeter"))
)


@pytest.mark.parametrize("slope", SLOPES_DB_PER_OCTAVE)
def test_branches_of_a_crossover_are_handed_out_by_way(slope: int) -> None:
    fractions = driver_fractions([TWEETER, WOOFER, MID], (450.0, 2800.0), slope, FREQUENCIES)
    branches = branch_responses((450.0, 2800.0), slope, FREQUENCIES)
    assert fractions == pytest.approx(branches[[2, 0, 1]])


@settings(deadline=None, max_examples=40)
@given(gain=st.floats(-6.0, 6.0), delay=st.floats(-0.05, 0.05), at=st.floats(300.0, 4000.0))
def test_whatever_is_set_the_axis_is_flat_or_lifted_by_no_more_than_it_may(
    gain: float, delay: float, at: float
) -> None:
    low = replace(WOOFER, own_band=True, to_hz=at)
    high = replace(TWEETER, own_band=True, from_hz=at, gain_db=gain, delay_ms=delay)
    raw, flat = (of([low, high], (), 24, FREQUENCIES) for of in (adjusted_fractions, driver_fractions))
    left = np.abs(raw.sum(axis=0))
    lifted = left >= 10.0 ** (-MOST_LIFT_DB / 20.0)
    assert np.abs(flat.sum(axis=0))[lifted] == pytest.approx(1.0)
    assert np.abs(flat / raw)[np.abs(raw) > 1e-12].max() <= 10.0 ** (MOST_LIFT_DB / 20.0) + 1e-9
    # equalising changes both drivers alike
    assert flat[0] * raw[1] == pytest.approx(flat[1] * raw[0])


def test_gain_delay_and_polarity_are_those_told() -> None:
    told = replace(TWEETER, own_band=True, from_hz=2000.0, gain_db=-6.0, delay_ms=0.1, inverted=True)
    (fraction,) = adjusted_fractions([told], (), 24, FREQUENCIES)
    high = two_branches(2000.0, 24, FREQUENCIES)[1]
    assert fraction == pytest.approx(-(10.0**-0.3) * high * np.exp(-2j * np.pi * FREQUENCIES * 1e-4))
