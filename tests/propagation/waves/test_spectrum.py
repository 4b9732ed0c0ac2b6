"""Few complex frequencies stand for many real ones."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import make_interp_spline

from sim.propagation.waves.table import (
    DAMPING_PER_S,
    FADE,
    HARD_STEP_HZ,
    STEP_HZ,
    between,
    fade,
    sampled_hz,
    spline_weights,
    step_hz,
    unrolled,
)

FREQUENCIES = np.arange(20.0, 1380.0, 11.7)


STEPS = (HARD_STEP_HZ, STEP_HZ)
LATEST_S = {HARD_STEP_HZ: (0.019, 0.025), STEP_HZ: (0.009, 0.0115)}
"""Up to here within 0.2 %, and within 2 %, as the documentation says."""


def heard(step: float, after_s: float) -> np.ndarray:
    """How far a pulse some time after the first is off, faded as waves are where they end at 1400 Hz."""
    sampled, first = sampled_hz(1400.0, step), 0.0123
    pulse = np.exp(-(2j * np.pi * sampled + DAMPING_PER_S) * (first + after_s))[None]
    found = between(unrolled(pulse, sampled, np.array([first])), sampled, FREQUENCIES)[0]
    return np.abs(found - np.exp(-2j * np.pi * FREQUENCIES * after_s)) * fade(FREQUENCIES, 1400.0 / FADE)


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("share", [0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
def test_sound_that_comes_later_keeps_its_strength(step: float, share: float) -> None:
    early, late = LATEST_S[step]
    assert heard(step, share * early).max() < 0.002
    assert heard(step, share * late).max() < 0.02


@pytest.mark.parametrize("step", STEPS)
def test_sound_a_little_before_the_first_is_right_too(step: float) -> None:
    """As where the shortest way by a corner is longer than the one taken off."""
    assert heard(step, -0.0005).max() < 0.002


def test_a_spline_of_degree_seven_is_the_library_s() -> None:
    """The same knots (not-a-knot) and so the same polynomials, as `scipy.interpolate` has them."""
    grid, values = 37.5 * np.arange(-20, 21), np.random.default_rng(3).normal(size=41)
    places = np.concatenate([grid, np.linspace(grid[0], grid[-1], 200)])
    found = values @ spline_weights(grid, places, 0.0)
    np.testing.assert_allclose(found, make_interp_spline(grid, values, k=7)(places), atol=1e-9)


def test_a_polynomial_goes_on_beside_the_axis() -> None:
    grid, places = 50.0 * np.arange(9), np.linspace(0.0, 400.0, 33)

    def polynomial(x: np.ndarray) -> np.ndarray:
        return 1.0 + x / 100.0 - (x / 200.0) ** 4 + (x / 300.0) ** 7

    found = polynomial(grid) @ spline_weights(grid, places, 15.9)
    np.testing.assert_allclose(found, polynomial(places + 15.9j), atol=1e-8)


def test_over_a_hard_floor_samples_lie_half_as_far_apart() -> None:
    """Octave coefficients of demo materials: low in the bass alone, low everywhere."""
    carpet, wood = [0.08, 0.08, 0.24, 0.57, 0.69, 0.71, 0.73, 0.73], [0.1] * 3 + [0.07] * 5
    assert step_hz(np.zeros((0, 8))) == STEP_HZ
    assert step_hz(np.array([carpet])) == STEP_HZ
    assert step_hz(np.array([carpet, wood])) == HARD_STEP_HZ


def test_samples_reach_the_end_and_are_enough_for_a_spline() -> None:
    assert sampled_hz(1500.0)[-1] == 1500.0
    assert sampled_hz(1501.0)[-1] == 1537.5
    assert len(sampled_hz(60.0)) == 5


def test_waves_fade_over_a_quarter_of_an_octave() -> None:
    weights = fade(np.array([0.0, 900.0, 1000.0, 1095.4, 1200.0, 3000.0]), 1000.0)
    np.testing.assert_allclose(weights, [1.0, 1.0, 1.0, 0.5, 0.0, 0.0], atol=1e-3)
