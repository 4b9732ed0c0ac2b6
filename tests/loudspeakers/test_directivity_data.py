"""Between measured directions and frequencies."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.normalising import measured_data
from tests.loudspeakers.sofa_writing import sphere_grid, unit_vectors

FREQUENCIES = np.array([250.0, 1000.0, 4000.0])
STEPS = np.radians(np.arange(-180.0, 180.0, 10.0))


def orbits(right: np.ndarray, up: np.ndarray, has_phase: bool = True) -> DirectivityData:
    """Two orbits of ten-degree steps with values (36, f)."""
    zero = 0.0 * STEPS
    across = np.column_stack([np.cos(STEPS), np.sin(STEPS), zero])
    upright = np.column_stack([np.cos(STEPS), zero, np.sin(STEPS)])
    horizontal = np.repeat([1.0, 0.0], len(STEPS))
    return measured_data(
        np.concatenate([across, upright]),
        FREQUENCIES,
        np.concatenate([right, up]),
        horizontal=horizontal > 0.5,
        has_phase=has_phase,
        source="invented",
    )


def spread(size: np.ndarray) -> np.ndarray:
    return np.repeat(size[:, None], len(FREQUENCIES), axis=1).astype(complex)


CARDIOID = spread(0.55 + 0.45 * np.cos(STEPS))
NARROW = spread(np.exp(-1.5 * (1.0 - np.cos(STEPS))))


@settings(deadline=None)
@given(off=st.floats(0.0, 180.0), about=st.floats(-180.0, 180.0))
def test_orbits_alike_do_not_notice_roll(off: float, about: float) -> None:
    data = orbits(CARDIOID, CARDIOID)
    away, turn = np.radians([off, about])
    way = [np.cos(away), np.sin(away) * np.cos(turn), np.sin(away) * np.sin(turn)]
    expected = 0.55 + 0.45 * np.cos(away)
    assert data.pressure([way], [500.0])[0, 0] == pytest.approx(expected, abs=0.003)


def test_between_the_orbits_the_energy_runs_round_an_ellipse() -> None:
    data = orbits(CARDIOID, NARROW)
    away = np.radians(60.0)
    right, up = 0.55 + 0.45 * 0.5, np.exp(-0.75)
    about = np.radians(np.arange(0.0, 360.0, 15.0))
    ways = np.column_stack(
        [np.full(len(about), np.cos(away)), np.sin(away) * np.cos(about), np.sin(away) * np.sin(about)]
    )
    found = np.abs(data.pressure(ways, [1000.0]))[:, 0]
    assert found == pytest.approx(np.hypot(right * np.cos(about), up * np.sin(about)), abs=1e-9)
    # the mean energy round the axis is the mean of both orbits
    assert np.mean(found**2) == pytest.approx(0.5 * (right**2 + up**2))


def test_left_and_right_above_and_below_are_not_mixed_up() -> None:
    lopsided = spread(0.6 + 0.4 * np.cos(STEPS) + 0.3 * np.sin(STEPS))
    data = orbits(lopsided, CARDIOID)
    right, left, up, down = np.abs(data.pressure([[0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], [1000.0]))[:, 0]
    assert (right, left) == pytest.approx((0.9, 0.3))
    assert (up, down) == pytest.approx((0.55, 0.55))


def test_between_frequencies_and_beyond_them() -> None:
    values = CARDIOID * np.array([1.0, 1.0, 1.0]) * np.exp(1j * np.array([0.0, 1.0, 2.0]) * np.sin(STEPS)[:, None])
    data = orbits(values, CARDIOID)
    way = [[0.0, 1.0, 0.0]]
    found = data.pressure(way, [20.0, 250.0, 500.0, 1000.0, 2000.0, 20000.0])[0]
    assert np.angle(found) == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.5, 2.0], abs=1e-9)
    assert np.abs(found) == pytest.approx(0.55)


def test_neighbours_out_of_step_do_not_make_a_dip() -> None:
    """Two directions as loud but half a turn apart: the middle keeps their level."""
    turned = spread(np.ones(len(STEPS))) * np.where(np.arange(len(STEPS)) % 2, 1j, 1.0)[:, None]
    data = orbits(turned, turned)
    ways = [[np.cos(a), np.sin(a), 0.0] for a in np.radians([5.0, 15.0, 22.0])]
    assert np.abs(data.pressure(ways, [1000.0])) == pytest.approx(1.0)


@settings(deadline=None, max_examples=50)
@given(st.tuples(*3 * [st.floats(-1.0, 1.0)]).filter(lambda v: sum(x * x for x in v) > 0.01))
def test_on_a_grid_all_over_the_sphere_a_smooth_pattern_comes_back(vector: tuple[float, float, float]) -> None:
    way = np.array(vector) / np.linalg.norm(vector)
    found = SPHERE.pressure([way], [1000.0])[0, 0]
    assert found == pytest.approx(_pattern(way[None])[0] / 0.95, rel=0.02)


def _pattern(ways: np.ndarray) -> np.ndarray:
    return 0.6 + 0.35 * ways[:, 0] + 0.1 * ways[:, 1] * ways[:, 2]


WAYS = unit_vectors(sphere_grid(10.0))
SPHERE = measured_data(
    WAYS,
    FREQUENCIES,
    np.repeat(_pattern(WAYS)[:, None], 3, axis=1) + 0j,
    has_phase=True,
    source="invented",
)


def test_many_directions_at_once_are_each_of_them() -> None:
    ways = unit_vectors(np.random.default_rng(3).uniform(-180.0, 180.0, (3000, 2)))
    frequencies = np.geomspace(100.0, 5000.0, 200)
    together = SPHERE.pressure(ways, frequencies)
    assert together.shape == (3000, 200)
    assert together[[0, 1500, 2999]] == pytest.approx(SPHERE.pressure(ways[[0, 1500, 2999]], frequencies))


def test_a_silent_axis_is_refused() -> None:
    values = CARDIOID.copy()
    values[18, 1] = 0.0  # on the axis at 1 kHz
    with pytest.raises(ValueError, match="silent at 1000 Hz"):
        orbits(values, values)
