"""The swept sine: its closed form, its level, and its parts found again in a file."""

from __future__ import annotations

import numpy as np
import pytest

from sim.measuring.sweeps import (
    exponential_sweep,
    find_parts,
    highest_hz,
    marker,
    measuring_signal,
    sweep_phase,
    sweep_rate_s,
)


def test_the_frequency_rises_by_the_same_ratio_in_equal_times() -> None:
    """f(t) = f1 exp(t/L) (Farina, 108th AES Convention, 2000, paper 5093)."""
    rate_s = sweep_rate_s(5.0, 20.0, 20_000.0)
    time = np.linspace(0.0, 5.0, 50_001)[:5_000]
    hz = np.gradient(sweep_phase(time, rate_s, 20.0), time) / (2.0 * np.pi)
    assert hz[1:-1] == pytest.approx(20.0 * np.exp(time[1:-1] / rate_s), rel=1e-4)


def test_harmonics_keep_their_phase() -> None:
    """f1 L is whole (Novak, Lotton and Simon, J. Audio Eng. Soc. 63 (2015) 786-798), the length near what is asked."""
    for seconds in (1.0, 3.3, 10.0):
        rate_s = sweep_rate_s(seconds, 20.0, 21_600.0)
        assert 20.0 * rate_s == pytest.approx(round(20.0 * rate_s))
        assert rate_s * np.log(21_600.0 / 20.0) == pytest.approx(seconds, abs=0.2)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
def test_parts_are_found_again(rate_hz: int) -> None:
    samples, parts = measuring_signal(rate_hz, 1.0, -12.0)
    assert np.abs(samples).max() == pytest.approx(10.0 ** (-12.0 / 20.0), rel=1e-3)
    found = find_parts(samples, rate_hz)
    slack = 0.03 * rate_hz
    for true, seen in zip([*parts.markers, parts.sweep], [*found.markers, found.sweep], strict=True):
        assert abs(true[0] - seen[0]) < slack and abs(true[1] - seen[1]) < slack
    assert np.array_equal(samples[parts.markers[0][0] : parts.markers[0][1]], marker(rate_hz) * 10.0 ** (-12.0 / 20.0))


def test_a_bare_sweep_has_no_markers() -> None:
    sweep = exponential_sweep(48_000, 1.0)
    found = find_parts(np.concatenate([np.zeros(9000), sweep, np.zeros(9000)]), 48_000)
    assert found.markers == ()
    assert found.sweep[0] == pytest.approx(9000, abs=1500)


def test_it_begins_and_ends_in_silence() -> None:
    sweep = exponential_sweep(48_000, 1.0)
    assert abs(sweep[0]) < 1e-6 and abs(sweep[-1]) < 1e-3
    assert highest_hz(44_100) == pytest.approx(19_845.0)
