"""Loudness and true peak against the test signals of the recommendations."""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import SceneError
from sim.studies.listen.levels import common_loudness, loudness_lufs, true_peak_db


def tone(level_db: float, seconds: float, rate_hz: int = 48_000, hz: float = 1000.0) -> np.ndarray:
    return 10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_a_tone_at_full_scale_in_one_channel(rate_hz: int) -> None:
    """ITU-R BS.1770-4, annex 1: 997 Hz at 0 dB re full scale in the left channel reads -3.01 LKFS."""
    left = np.stack([tone(0.0, 3.0, rate_hz, 997.0), np.zeros(3 * rate_hz)])
    assert loudness_lufs(left, rate_hz) == pytest.approx(-3.01, abs=0.03)


@pytest.mark.parametrize(
    ("parts", "wanted"),
    [
        ([(-23.0, 20.0)], -23.0),
        ([(-33.0, 20.0)], -33.0),
        ([(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)], -23.0),
        ([(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)], -23.0),
        ([(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)], -23.0),
    ],
)
def test_gates(parts: list[tuple[float, float]], wanted: float) -> None:
    """EBU Tech 3341, table 1, signals 1 to 5: a tone of 1 kHz in both channels, within 0.1 LU."""
    one = np.concatenate([tone(level, seconds) for level, seconds in parts])
    assert loudness_lufs(np.stack([one, one]), 48_000) == pytest.approx(wanted, abs=0.1)


@pytest.mark.parametrize(("hz", "turn_deg"), [(12_000.0, 0.0), (12_000.0, 45.0), (8_000.0, 60.0), (6_000.0, 67.5)])
def test_true_peak(hz: float, turn_deg: float) -> None:
    """EBU Tech 3341, table 1, signals 15 to 18: amplitude 0.5 reads -6.0 dB, 0.2 more to 0.4 less."""
    time = np.arange(48_000) / 48_000
    fade = np.clip(np.minimum(time, 1.0 - time) / 0.01, 0.0, 1.0)
    wave = 0.5 * fade * np.sin(2.0 * np.pi * hz * time + np.radians(turn_deg))
    assert -6.4 <= true_peak_db(wave[None]) <= -5.8


def test_true_peak_is_found_across_pieces() -> None:
    wave = np.zeros((2, (1 << 18) + 40))
    wave[1, (1 << 18) - 1 : (1 << 18) + 1] = 0.5  # two alike samples: the wave passes 0.5 * 4/pi between them
    assert true_peak_db(wave) == pytest.approx(20.0 * np.log10(0.5 * 4.0 / np.pi), abs=0.1)


def test_all_get_one_loudness_and_keep_below_the_peak() -> None:
    wanted, gains = common_loudness(-14.0, [-20.0, -17.0], [-3.0, -12.0])
    assert wanted == pytest.approx(-18.2)  # the first has 1.8 dB of room
    assert gains == pytest.approx([1.8, -1.2])
    assert common_loudness(-30.0, [-20.0, -17.0], [-3.0, -12.0])[0] == -30.0
    with pytest.raises(SceneError, match="too quiet"):
        common_loudness(-30.0, [-np.inf], [-100.0])
    assert loudness_lufs(np.zeros((2, 48_000)), 48_000) == -np.inf
