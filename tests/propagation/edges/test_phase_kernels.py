"""Waves worked out eight frequencies at a time, against NumPy one by one."""

from __future__ import annotations

import numba as nb
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.propagation.edges.phase_kernels import (
    ROW_BYTES,
    driven,
    filled_up,
    find_steps,
    laid_out,
    rows_of_eight,
    sample_at,
)
from sim.rays.lane_functions import wave_of
from sim.rays.lanes import add_at, load_doubles, store


@nb.njit
def waves(phases, found):  # type: ignore[no-untyped-def]
    """Real and imaginary parts (2, n) of many phases; n is a multiple of eight."""
    row = ROW_BYTES * (phases.shape[0] // 8)
    phases_at, found_at = phases.ctypes.data, found.ctypes.data
    for at in range(0, row, ROW_BYTES):
        real, imaginary = wave_of(load_doubles(phases_at + at))
        store(found_at + at, real)
        store(found_at + row + at, imaginary)


@nb.njit
def times_drive(phases, drive, place, length, found):  # type: ignore[no-untyped-def]
    """Waves times what is radiated toward a place, added to found (2, n)."""
    row = ROW_BYTES * (phases.shape[0] // 8)
    phases_at, drive_at, found_at = phases.ctypes.data, drive.ctypes.data, found.ctypes.data
    sample, fraction = sample_at(place, length, drive.shape[0], row)
    for at in range(0, row, ROW_BYTES):
        wave = driven(wave_of(load_doubles(phases_at + at)), drive_at + sample + at, row, fraction)
        add_at(found_at + at, wave[0])
        add_at(found_at + row + at, wave[1])


@pytest.mark.parametrize("most", [1.0, 100.0, 1.0e4, 1.0e6])
def test_waves_are_those_of_sine_and_cosine(most: float) -> None:
    phases = np.random.default_rng(1).uniform(-most, most, 80_000)
    phases[:8] = [0.0, np.pi, -np.pi, 0.5 * np.pi, 2.0 * np.pi, 1e-12, -0.0, 0.25 * np.pi]
    found = np.empty((2, len(phases)))
    waves(phases, found)
    np.testing.assert_allclose(found[0], np.cos(phases), rtol=0.0, atol=2e-15)
    np.testing.assert_allclose(found[1], -np.sin(phases), rtol=0.0, atol=2e-15)


@given(seed=st.integers(0, 2**32 - 1), n=st.integers(2, 7), f=st.integers(1, 20), place=st.floats(-0.2, 1.6))
def test_what_is_radiated_is_taken_between_samples(seed: int, n: int, f: int, place: float) -> None:
    rng, length = np.random.default_rng(seed), 1.4
    drive = rng.normal(size=(n, f)) + 1j * rng.normal(size=(n, f))
    phases = rng.uniform(0.0, 300.0, f)
    found = np.ones((2, rows_of_eight(f)))
    times_drive(filled_up(phases), laid_out(drive), place, length, found)
    where = np.linspace(0.0, length, n)
    radiated = np.array([np.interp(place, where, drive[:, j]) for j in range(f)])
    expected = 1.0 + 1.0j + radiated * np.exp(-1j * phases)
    np.testing.assert_allclose(found[0, :f] + 1j * found[1, :f], expected, rtol=0.0, atol=1e-13)
    np.testing.assert_array_equal(found[:, f:], 1.0)


def test_rows_an_even_step_apart_are_found_and_no_others() -> None:
    even, follows = 3.0 + 0.75 * np.arange(40), np.full(6, -1)
    row = np.concatenate([even, np.geomspace(40.0, 60.0, 8)])
    assert find_steps(row, follows) == pytest.approx(8 * 0.75)
    assert follows.tolist() == [0, 1, 1, 1, 1, 0]
    uneven = np.full(2, -1)
    assert find_steps(np.geomspace(1.0, 2.0, 16), uneven) == 0.0
    assert uneven.tolist() == [0, 0]
    filled = np.full(2, -1)
    find_steps(filled_up(even[:13]), filled)  # zeros fill the last row
    assert filled.tolist() == [0, 0]
