"""Few complex frequencies stand for many real ones."""

from __future__ import annotations

import numpy as np
import pytest

from sim.propagation.waves.table import DAMPING_PER_S, between, fade, sampled_hz, unrolled

FREQUENCIES = np.arange(20.0, 1380.0, 11.7)


@pytest.mark.parametrize(
    ("after_s", "within"), [(0.0, 0.005), (0.002, 0.001), (0.004, 0.002), (0.006, 0.03), (0.008, 0.12)]
)
def test_sound_that_comes_later_keeps_its_strength(after_s: float, within: float) -> None:
    """A pulse some time after the first; at the ends of the samples a few times what the module says on average."""
    sampled, first = sampled_hz(1400.0), 0.0123
    pulse = np.exp(-(2j * np.pi * sampled + DAMPING_PER_S) * (first + after_s))[None]
    found = between(unrolled(pulse, sampled, np.array([first])), sampled, FREQUENCIES)[0]
    assert np.abs(found - np.exp(-2j * np.pi * FREQUENCIES * after_s)).max() < within


def test_half_the_step_keeps_what_comes_later() -> None:
    """As over a hard floor: 7 % off at 15 ms, where the wider step has lost half."""
    off = []
    for ringing in (False, True):
        sampled = sampled_hz(1400.0, ringing=ringing)
        pulse = np.exp(-(2j * np.pi * sampled + DAMPING_PER_S) * 0.015)[None]
        found = between(unrolled(pulse, sampled, np.zeros(1)), sampled, FREQUENCIES)[0]
        away = np.abs(found - np.exp(-2j * np.pi * FREQUENCIES * 0.015))[FREQUENCIES > 200.0]
        off.append(np.sqrt((away**2).mean()))
    assert off[0] > 0.3
    assert off[1] < 0.08


def test_waves_fade_over_a_quarter_of_an_octave() -> None:
    weights = fade(np.array([0.0, 900.0, 1000.0, 1095.4, 1200.0, 3000.0]), 1000.0)
    np.testing.assert_allclose(weights, [1.0, 1.0, 1.0, 0.5, 0.0, 0.0], atol=1e-3)
