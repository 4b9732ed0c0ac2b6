from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.air import Air
from sim.acoustics.bands import transition_frequency_hz
from sim.acoustics.diffuse_field import (
    air_energy_loss_per_m,
    arau_s,
    critical_distance_m,
    decay_time_s,
    eyring_area_m2,
    fitzroy_s,
    mean_free_path_m,
    millington_area_m2,
    sabine_area_m2,
    steady_level_db,
)

# A box of 5 x 4 x 3 m: 60 m3, 94 m2; pairs of walls facing x, y, z. Times worked out by hand from the formulas.
V, PAIRS, C = 60.0, np.array([24.0, 30.0, 40.0]), 343.2
EVEN, UNEVEN = np.full(3, 0.2), np.array([0.1, 0.1, 0.5])


def test_sabine_constant() -> None:
    # 24 ln 10/c = 0.161 s/m (Kuttruff; ISO 354 prints 55.3/c)
    assert float(decay_time_s(1.0, 1.0, C)) == pytest.approx(0.161020, abs=1e-6)


@pytest.mark.parametrize(
    ("area", "absorption", "seconds"),
    [
        (sabine_area_m2, EVEN, 0.51389),
        (eyring_area_m2, EVEN, 0.46059),
        (sabine_area_m2, UNEVEN, 0.38036),
        (eyring_area_m2, UNEVEN, 0.32628),
        (millington_area_m2, UNEVEN, 0.28912),
    ],
)
def test_decay_times(area, absorption, seconds: float) -> None:
    assert float(decay_time_s(V, area(PAIRS, absorption), C)) == pytest.approx(seconds, abs=1e-5)


def test_three_axes() -> None:
    assert float(arau_s(V, PAIRS, UNEVEN, C)) == pytest.approx(0.43760, abs=1e-5)
    assert float(fitzroy_s(V, PAIRS, UNEVEN, C)) == pytest.approx(0.62349, abs=1e-5)


@given(st.floats(0.01, 0.95))
def test_all_but_sabine_agree_where_absorption_is_even(alpha: float) -> None:
    even = np.full(3, alpha)
    eyring = float(decay_time_s(V, eyring_area_m2(PAIRS, even), C))
    for other in (
        arau_s(V, PAIRS, even, C),
        fitzroy_s(V, PAIRS, even, C),
        decay_time_s(V, millington_area_m2(PAIRS, even), C),
    ):
        assert float(other) == pytest.approx(eyring, rel=1e-12)
    assert eyring < float(decay_time_s(V, sabine_area_m2(PAIRS, even), C))


def test_air_shortens_the_top() -> None:
    # 29.7 dB/km is m = 6.8387e-3 1/m; Sabine 0.47263 s instead of 0.51389 s
    metres = 29.7e-3 / (10.0 * np.log10(np.e))
    assert metres == pytest.approx(6.8387e-3, rel=1e-4)
    with_air = decay_time_s(V, sabine_area_m2(PAIRS, EVEN), C, air_per_m=metres)
    assert float(with_air) == pytest.approx(0.47263, abs=1e-5)
    # ISO 9613-1 at 20 C, 50 %: 4.665 dB/km at 1 kHz, 1.0741e-3 of the energy a metre
    assert float(air_energy_loss_per_m(1000.0, Air())) == pytest.approx(1.0741e-3, rel=1e-3)


def test_bands_are_columns() -> None:
    both = np.column_stack([EVEN, UNEVEN])
    assert decay_time_s(V, eyring_area_m2(PAIRS, both), C) == pytest.approx([0.46059, 0.32628], abs=1e-5)
    assert arau_s(V, PAIRS, both, C) == pytest.approx([0.46059, 0.43760], abs=1e-5)


def test_a_room_that_takes_nothing_never_ends() -> None:
    assert np.isinf(decay_time_s(V, eyring_area_m2(PAIRS, np.zeros(3)), C))
    assert float(decay_time_s(V, millington_area_m2(PAIRS, np.array([0.0, 0.0, 1.0])), C)) == 0.0


def test_lengths_and_levels() -> None:
    assert mean_free_path_m(60.0, 94.0) == pytest.approx(2.55319, abs=1e-5)
    # 0.0566 sqrt(Q V/T); A 24.153 m2 is 0.4 s in 60 m3
    assert critical_distance_m(24.153) == pytest.approx(0.69319, abs=1e-5)
    assert critical_distance_m(0.161020 * 60.0 / 0.3, 5.0) == pytest.approx(1.78980, abs=1e-4)
    assert steady_level_db(1.0, 18.8) == pytest.approx(-5.341, abs=1e-3)
    assert steady_level_db(2.0, 18.8) == pytest.approx(-6.333, abs=1e-3)
    assert transition_frequency_hz(0.4, 60.0) == pytest.approx(163.30, abs=0.01)
