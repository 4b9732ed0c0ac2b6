from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.bands import octave_bands
from sim.studies.decay.records import RoomDecay
from sim.studies.decay.verdict import (
    LISTENING_ROOMS,
    DecayMask,
    aim_of,
    answer_for,
    initial_gaps,
    judge_decay,
    mean_decay_s,
)

OCTAVES = octave_bands(125, 8000)


@pytest.mark.parametrize(
    ("volume_m3", "seconds"), [(100, 0.25), (20, 0.1462), (40, 0.1842), (60, 0.2109), (80, 0.2321), (200, 0.3150)]
)
def test_nominal_time(volume_m3: float, seconds: float) -> None:
    # ITU-R BS.1116-3: 0.25 s (V/100 m3)^(1/3)
    assert aim_of(volume_m3, OCTAVES).nominal_s == pytest.approx(seconds, abs=5e-5)


def test_tolerance_of_listening_rooms() -> None:
    # ITU-R BS.1116-3 as remembered: 0.05 s from 200 Hz to 4 kHz, 0.3 s up at 63 Hz, 0.1 s from 4 to 8 kHz
    assert "memory" in LISTENING_ROOMS.source
    lower, upper = LISTENING_ROOMS.limits(0.25, np.array([63.0, 200.0, 1000.0, 4000.0, 4100.0, 8000.0]))
    assert upper == pytest.approx([0.55, 0.30, 0.30, 0.30, 0.35, 0.35], abs=1e-6)
    assert lower == pytest.approx([0.20, 0.20, 0.20, 0.20, 0.15, 0.15], abs=1e-6)
    # halfway on a logarithmic axis, halfway in seconds: sqrt(63 * 200) = 112.25 Hz
    assert LISTENING_ROOMS.limits(0.25, np.array([112.25]))[1] == pytest.approx([0.425], abs=1e-4)


def test_another_mask_can_be_given() -> None:
    mask = DecayMask("made up", (100.0, 10_000.0), (1.0, 1.0), (0.1, 0.3))
    aim = aim_of(100.0, OCTAVES, mask)
    assert (aim.lower_s == 0.0).all(), "no time is below zero"
    assert aim.upper_s[3] == pytest.approx(0.25 + 0.2, abs=1e-9)  # 1 kHz is the middle


@pytest.mark.parametrize(
    ("value", "uncertainty", "said"),
    [
        (0.25, 0.01, "within"),
        (0.32, 0.01, "above"),
        (0.18, 0.01, "below"),
        (0.295, 0.01, "too close to call"),
        (0.305, 0.01, "too close to call"),
        (0.205, 0.01, "too close to call"),
        (np.nan, 0.01, "not known"),
        (0.25, np.nan, "not known"),
    ],
)
def test_answers(value: float, uncertainty: float, said: str) -> None:
    assert answer_for(value, uncertainty, 0.20, 0.30) == said


@given(st.floats(0.01, 2.0), st.floats(0.0, 0.5))
def test_every_time_has_one_answer(value: float, uncertainty: float) -> None:
    answer = answer_for(value, uncertainty, 0.2, 0.3)
    surely_in = value - uncertainty >= 0.2 and value + uncertainty <= 0.3
    assert (answer == "within") == surely_in
    assert (answer in ("above", "below")) == (value - uncertainty > 0.3 or value + uncertainty < 0.2)


def test_each_octave_is_judged_or_not() -> None:
    times = np.array([0.9, 0.9, 0.25, 0.36, 0.10, 0.31, np.nan])
    room = RoomDecay(times, np.full(7, 0.01), times, np.full(7, 0.01))
    judged = np.array([False, True, True, True, True, True, True])
    found = judge_decay(OCTAVES, judged, room, aim_of(100.0, OCTAVES))
    answers = [each.answer for each in found]
    assert answers == ["not judged by rays", "above", "within", "above", "below", "too close to call", "not known"]
    assert found[2].octave_hz == 500.0
    assert (found[2].lower_s, found[2].upper_s) == pytest.approx((0.2, 0.3))


def test_mean_is_that_of_200_hz_to_4_khz() -> None:
    assert mean_decay_s(OCTAVES, np.array([9.0, 0.1, 0.2, 0.3, 0.4, 0.5, 9.0])) == pytest.approx(0.3)
    assert np.isnan(mean_decay_s(OCTAVES, np.full(7, np.nan)))


def arrival(name: str, order: int, delay_ms: float, worst_db: float) -> Any:
    return SimpleNamespace(
        loudspeaker=name,
        listener="ear",
        order=order,
        worst_db=worst_db,
        via=f"{delay_ms:g}",
        main=SimpleNamespace(delay_ms=delay_ms),
    )


def test_the_gap_ends_with_the_first_reflection_that_counts() -> None:
    heard = [
        arrival("left", 0, 0.0, 0.0),
        arrival("left", 1, 5.0, -3.0),
        arrival("left", 2, 1.0, -25.0),
        arrival("left", 1, 2.0, -20.0),
        arrival("right", 0, 0.0, 0.0),
        arrival("right", 1, 3.0, -30.0),
    ]
    left, right = initial_gaps(heard)
    assert (left.gap_ms, left.level_db, left.way) == (2.0, -20.0, "2")
    assert np.isinf(right.gap_ms)
    assert initial_gaps(heard, level_db=-26.0)[0].gap_ms == 1.0
