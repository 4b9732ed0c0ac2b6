"""Directions measured more than once."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.loudspeakers.orbits import without_repeats


def reported(row: int) -> str:
    return f"row {row}"


@given(st.lists(st.integers(0, 5), min_size=1, max_size=20))
def test_one_of_each_is_kept_in_the_order_of_the_file(keys: list[int]) -> None:
    rows = np.array(keys, dtype=float)[:, None]
    values = 2.0 * np.exp(1j * np.arange(len(keys)))[:, None] * np.ones(3)
    kept, merged, said = without_repeats(rows, values, reported)
    first = [number for number, key in enumerate(keys) if key not in keys[:number]]
    assert kept.tolist() == first
    assert merged == pytest.approx(values[first])  # alike in level: the phase of the first
    assert not said


def test_energies_are_averaged_and_it_is_said() -> None:
    keys = np.array([[0.0], [1.0], [0.0], [1.0]])
    values = np.array([[1.0, 1.0], [2.0, 2.0], [1.1, 1.0], [3.0, 2.0]], dtype=complex)
    kept, merged, (note,) = without_repeats(keys, values, reported)
    assert kept.tolist() == [0, 1]
    assert np.abs(merged[1]) == pytest.approx([np.sqrt(6.5), 2.0])
    apart = 20.0 * np.log10(1.5) / np.sqrt(2.0)
    assert note == (
        f"row 1 was measured more than once, {apart:.1f} dB apart (rms over frequency), as was 1 other: "
        "mean energies are taken"
    )


def test_what_contradicts_itself_is_refused_and_noise_is_not() -> None:
    keys = np.zeros((2, 1))
    with pytest.raises(ValueError, match="row 0 was measured twice, 20 dB apart; keep the right one"):
        without_repeats(keys, np.array([[1.0, 1.0], [0.1, 0.1]], dtype=complex), reported)
    # as loud on the whole, with dips at different places
    _, _, (note,) = without_repeats(keys, np.array([[1.0, 0.1], [0.1, 1.0]], dtype=complex), reported)
    assert "20.0 dB apart" in note
