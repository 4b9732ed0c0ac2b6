"""From impulse responses to directivity, against Fourier sums and delays known beforehand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.impulse_responses import directivity_of_impulses

RATE = 48000.0
WAYS = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, -1.0, 0.0]])


def pulses(late: list[int], size: list[float], length: int = 4800) -> np.ndarray:
    responses = np.zeros((len(late), length))
    responses[np.arange(len(late)), 100 + np.array(late)] = size
    return responses


def directivity(responses: np.ndarray, delays: np.ndarray | None = None) -> DirectivityData:
    return directivity_of_impulses(
        responses, RATE, np.zeros(len(responses)) if delays is None else delays, WAYS, source="invented"
    )


@settings(deadline=None, max_examples=20)
@given(st.lists(st.integers(0, 20), min_size=3, max_size=3), st.lists(st.floats(0.05, 1.0), min_size=3, max_size=3))
def test_pulses_have_their_sizes_and_their_delays(late: list[int], size: list[float]) -> None:
    data = directivity(pulses([0, *late], [1.0, *size]))
    for frequency in (200.0, 1000.0):
        found = data.pressure(WAYS[1:], [frequency])[:, 0]
        wanted = np.array(size) * np.exp(-2j * np.pi * frequency / RATE * np.array(late))
        assert found == pytest.approx(wanted, abs=0.01)


def test_a_delay_told_beside_the_response_is_one_inside_it() -> None:
    inside = directivity(pulses([0, 7, 3, 5], [1.0, 0.6, 0.3, 0.5]))
    beside = directivity(pulses([0, 0, 0, 0], [1.0, 0.6, 0.3, 0.5]), np.array([4.0, 11.0, 7.0, 9.0]))
    assert beside.values == pytest.approx(inside.values, abs=0.02)


def test_the_level_of_the_measurement_does_not_matter() -> None:
    responses = pulses([0, 7, 3, 5], [1.0, 0.6, 0.3, 0.5])
    assert directivity(1e-4 * responses).values == pytest.approx(directivity(responses).values)


@pytest.mark.parametrize(
    ("responses", "words"),
    [
        (np.ones((4, 40)), "last 0.83 ms, too short"),
        (np.full((4, 4800), np.nan), "not finite"),
        (np.zeros((4, 4800)), "the response on the axis is silent"),
    ],
)
def test_what_says_nothing_is_refused(responses: np.ndarray, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        directivity(responses)
