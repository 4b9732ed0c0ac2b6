"""What neighbours do to the level of a reflection, against sums of pulses with phases drawn by lot."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.measuring.neighbours import (
    WIDEST_DB,
    highest_energies,
    level_at,
    level_errors_db,
    neighbour_energies,
    pulse_energies,
)
from sim.responses.frequency import response_frequencies

BANDS = octave_bands()
"""As responses have them."""


def pulse() -> tuple[np.ndarray, np.ndarray]:
    return pulse_energies(response_frequencies(), BANDS)


def test_a_pulse_is_highest_in_its_middle_and_longer_in_lower_octaves() -> None:
    late_ms, energy = pulse()
    assert late_ms[0] == 0.0 and np.all(energy[:, 0] == 1.0)
    half = [float(late_ms[np.argmax(one < 0.25)]) for one in energy[3:8]]  # 500 Hz to 8 kHz
    np.testing.assert_allclose(np.array(half[:-1]) / half[1:], 2.0, rtol=0.1)


def test_two_sounds_with_phases_by_lot_spread_as_said() -> None:
    """One sound 14 dB under the other, at the same moment: 20 lg |1 + a e^{j phi}|."""
    delays, levels = np.array([5.0, 5.0]), np.array([[0.0] * len(BANDS), [-14.0] * len(BANDS)])
    own, others = neighbour_energies(delays, levels, pulse())
    said = level_errors_db(own, others)[0]
    phase = np.random.default_rng(1).uniform(0.0, 2.0 * np.pi, 100_000)
    spread = np.std(20.0 * np.log10(np.abs(1.0 + 10.0 ** (-14.0 / 20.0) * np.exp(1j * phase))))
    np.testing.assert_allclose(said, spread, rtol=0.03)


def test_what_is_far_away_does_not_count_and_what_covers_is_not_known() -> None:
    delays, levels = np.array([5.0, 9.0]), np.array([[-30.0] * len(BANDS), [0.0] * len(BANDS)])
    errors = level_errors_db(*neighbour_energies(delays, levels, pulse()))
    high, low = -2, 2
    assert errors[0, high] < 0.5
    assert errors[0, low] > 10.0 and errors.max() <= WIDEST_DB


def test_the_highest_energy_near_a_moment() -> None:
    delays, levels = np.array([5.0, 5.08]), np.array([[0.0] * len(BANDS), [3.0] * len(BANDS)])
    whole = highest_energies(delays, levels, pulse(), np.full(len(BANDS), 0.1))
    assert np.all(whole[0] >= 10.0**0.3)  # the other one lies within reach
    alone = highest_energies(delays[:1], levels[:1], pulse(), np.full(len(BANDS), 0.1))
    np.testing.assert_allclose(alone, 1.0)


def test_level_at_is_the_highest_near() -> None:
    time, level = np.arange(0.0, 5.0, 0.1), -np.arange(0.0, 50.0, 1.0)
    assert level_at(time, level, 2.0, 0.25) == pytest.approx(-18.0)
    assert np.isnan(level_at(time, level, 20.0, 0.25))
