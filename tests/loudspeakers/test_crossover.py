import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.loudspeakers.signal import SLOPES_DB_PER_OCTAVE, branch_responses, two_branches

FREQUENCIES = np.geomspace(10.0, 24000.0, 400)


def in_db(response: np.ndarray) -> np.ndarray:
    return 20.0 * np.log10(np.abs(response))


@pytest.mark.parametrize("slope", SLOPES_DB_PER_OCTAVE)
@given(low=st.floats(100.0, 3000.0), ratio=st.floats(1.05, 20.0))
def test_branches_sum_to_magnitude_one(slope: int, low: float, ratio: float) -> None:
    for crossovers in [(), (low,), (low, low * ratio)]:
        branches = branch_responses(crossovers, slope, FREQUENCIES)
        assert branches.shape == (len(crossovers) + 1, len(FREQUENCIES))
        assert np.abs(branches.sum(axis=0)) == pytest.approx(1.0, abs=1e-12)


# Linkwitz, J. Audio Eng. Soc. 24 (1976) 2-8: |low| = 1/(1 + F^2) and 1/(1 + F^4).
@pytest.mark.parametrize(
    ("slope", "ratio", "level"),
    [
        (24, 0.5, -0.527),
        (24, 1.0, -6.0206),
        (24, 2.0, -24.609),
        (24, 4.0, -48.199),
        (12, 0.5, -1.938),
        (12, 1.0, -6.0206),
        (12, 2.0, -13.979),
        (12, 4.0, -24.609),
        (18, 1.0, -3.0103),
    ],
)
def test_low_branch_levels(slope: int, ratio: float, level: float) -> None:
    low, high = two_branches(2000.0, slope, 2000.0 * ratio)
    assert in_db(low) == pytest.approx(level, abs=1e-3)
    mirrored_low, mirrored_high = two_branches(2000.0, slope, 2000.0 / ratio)
    assert in_db(high) == pytest.approx(in_db(mirrored_low), abs=1e-9)
    assert in_db(mirrored_high) == pytest.approx(in_db(low), abs=1e-9)


def test_phases_at_crossover() -> None:
    low, high = two_branches(2000.0, 24, 2000.0)
    assert abs(np.degrees(np.angle(low))) == pytest.approx(180.0)
    assert abs(np.degrees(np.angle(high))) == pytest.approx(180.0)
    low, high = two_branches(2000.0, 12, 2000.0)
    assert np.degrees(np.angle(low)) == pytest.approx(-90.0)
    assert np.degrees(np.angle(high)) == pytest.approx(-90.0)
    low, high = two_branches(2000.0, 18, 2000.0)
    assert abs(np.degrees(np.angle(high / low))) == pytest.approx(90.0)


def test_fourth_order_branches_are_in_phase_everywhere() -> None:
    low, high = two_branches(2200.0, 24, FREQUENCIES)
    assert np.angle(high / low) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("slope", "ratio", "degrees"),
    [(24, 0.25, -41.33), (24, 0.5, -86.63), (24, 0.70710678, -126.87), (12, 0.5, -53.13), (12, 2.0, -126.87)],
)
def test_phase_of_the_sum(slope: int, ratio: float, degrees: float) -> None:
    # All-pass (s^2 - sqrt2 s + 1)/(s^2 + sqrt2 s + 1) and (1 - s)/(1 + s); a lag is negative with e^{+jwt}.
    total = sum(two_branches(1000.0, slope, 1000.0 * ratio))
    assert np.degrees(np.angle(total)) == pytest.approx(degrees, abs=0.01)


def test_second_order_without_inversion_would_cancel() -> None:
    low, high = two_branches(1000.0, 12, np.array([500.0, 1000.0, 2000.0]))
    wrong = np.abs(low - high)
    assert wrong[1] < 1e-10
    assert in_db(wrong[[0, 2]]) == pytest.approx(-4.437, abs=1e-3)


def test_group_delay_toward_zero_frequency() -> None:
    # 2 sqrt2/omega_c for the fourth order at 2 kHz: 225.08 microseconds.
    frequency = 1.0
    total = sum(two_branches(2000.0, 24, frequency))
    delay_us = -np.angle(total) / (2.0 * np.pi * frequency) * 1e6
    assert delay_us == pytest.approx(225.08, abs=0.01)


def test_three_ways_do_their_own_work() -> None:
    branches = in_db(branch_responses((450.0, 2800.0), 24, [50.0, 1100.0, 15000.0]))
    assert np.argmax(branches, axis=0).tolist() == [0, 1, 2]
    assert np.max(branches, axis=0) == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize(
    ("crossovers", "slope", "word"),
    [
        ((100.0, 1000.0, 5000.0), 24, "three ways"),
        ((2800.0, 450.0), 24, "lowest first"),
        ((1000.0, 1000.0), 24, "lowest first"),
        ((-1.0,), 24, "above zero"),
        ((1000.0,), 6, "12, 18 or 24"),
    ],
)
def test_impossible_crossovers_are_refused(crossovers: tuple[float, ...], slope: int, word: str) -> None:
    with pytest.raises(ValueError, match=word):
        branch_responses(crossovers, slope, [1000.0])
