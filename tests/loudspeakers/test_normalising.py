"""What all readers of measured data refuse, and what they say."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.normalising import measured_data
from tests.loudspeakers.sofa_writing import sphere_grid, unit_vectors

WAYS = unit_vectors(sphere_grid(10.0))
FREQUENCIES = np.geomspace(80.0, 20000.0, 20)


def cardioid(ways: np.ndarray) -> np.ndarray:
    return np.repeat(0.55 + 0.45 * ways[:, :1], len(FREQUENCIES), axis=1) + 0j


def normalised(ways: np.ndarray = WAYS, **more: Any) -> DirectivityData:
    values = more.pop("values", cardioid(ways))
    return measured_data(ways, more.pop("frequencies", FREQUENCIES), values, has_phase=True, source="invented", **more)


def turned(ways: np.ndarray) -> np.ndarray:
    return np.asarray(cardioid(ways) * np.exp(1j * ways[:, 1:2]))


def test_a_full_grid_with_phase_leaves_nothing_to_say() -> None:
    data = normalised(values=7.0j * turned(WAYS))
    assert data.notes == ()
    assert data.has_phase
    assert data.layout == "sphere"
    assert data.values == pytest.approx(turned(WAYS))


def test_frequencies_are_put_in_order() -> None:
    order = np.random.default_rng(2).permutation(len(FREQUENCIES))
    values = turned(WAYS) * np.linspace(1.0, 2.0, len(FREQUENCIES)) * np.exp(WAYS[:, 2:] * FREQUENCIES / 2e4)
    one, other = normalised(values=values), normalised(values=values[:, order], frequencies=FREQUENCIES[order])
    assert np.array_equal(one.values, other.values)
    assert np.array_equal(one.frequencies_hz, other.frequencies_hz)


@pytest.mark.parametrize(
    ("step", "farthest", "said"),
    [
        (10.0, 90.0, "nothing was measured beyond 90 degrees off the axis: the nearest direction is held"),
        (30.0, 180.0, "the grid is coarse, up to 20 degrees from the nearest measured direction: straight lines"),
    ],
)
def test_what_a_grid_leaves_open_is_said(step: float, farthest: float, said: str) -> None:
    ways = unit_vectors(sphere_grid(step, farthest))
    (note,) = normalised(ways, values=turned(ways)).notes
    assert note.startswith(said)


def test_half_a_sphere_above_only_is_a_hole() -> None:
    ways = WAYS[WAYS[:, 2] > -0.01]
    (note,) = normalised(ways, values=turned(ways)).notes
    assert note == "the grid has holes, up to 90 degrees from the nearest measured direction: it is held there"


def test_a_grid_on_two_planes_is_two_orbits() -> None:
    on_planes = WAYS[np.minimum(np.abs(WAYS[:, 1]), np.abs(WAYS[:, 2])) < 1e-9]
    data = normalised(on_planes, values=turned(on_planes))
    assert data.layout == "two orbits"
    assert len(on_planes) == 70
    assert not data.notes


def test_ends_and_steps_of_frequency_are_said() -> None:
    few = np.array([250.0, 500.0, 8000.0])
    data = normalised(values=turned(WAYS)[:, :3], frequencies=few)
    assert data.notes == (
        "nothing was measured below 250 Hz and above 8000 Hz: the last values are held",
        "its frequencies are up to 4.0 octaves apart: straight lines are drawn in between",
    )


def test_what_faced_another_way_is_said_or_refused() -> None:
    """A cardioid measured about another axis than the file says, and one that was hardly heard on it."""
    away = WAYS * [-1.0, 1.0, 1.0]
    (note,) = normalised(values=turned(away) ** 0.5).notes
    assert note.startswith("averaged over frequency it is 10 dB louder 180 degrees off the axis than on it")
    with pytest.raises(
        ValueError, match="it is 40 dB louder 180 degrees off the axis than on it; check where it faced"
    ):
        normalised(values=turned(away) ** 2)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"values": np.where(WAYS[:, :1] > 0.999, np.nan, 1.0) * cardioid(WAYS)}, "its data hold numbers that are not"),
        ({"ways": np.where(np.arange(len(WAYS))[:, None] == 3, np.inf, WAYS)}, "its directions hold numbers"),
        ({"frequencies": np.array([*FREQUENCIES[:-1], np.nan])}, "its frequencies hold numbers"),
        ({"frequencies": np.array([*FREQUENCIES[:-1], FREQUENCIES[3]])}, "is there twice; keep one of each"),
        ({"values": 1e200 * cardioid(WAYS)}, r"its data hold numbers beyond 1e\+20"),
        ({"frequencies": FREQUENCIES - 80.0}, "no frequency above zero"),
        ({"frequencies": np.zeros(0), "values": np.zeros((len(WAYS), 0), complex)}, "no frequency above zero"),
        ({"ways": WAYS[WAYS[:, 0] < 0.9]}, "the nearest direction is 28 degrees off it"),
        ({"ways": WAYS[WAYS[:, 0] > 0.9999]}, "only the axis was measured"),
        ({"ways": unit_vectors(np.radians(sphere_grid(10.0)))}, "within 6.3 degrees of the axis; give angles in deg"),
        ({"values": np.where(FREQUENCIES > 1e4, 0.0, 1.0) * cardioid(WAYS)}, "the axis is silent at 1"),
    ],
)
def test_what_cannot_be_used_is_refused(more: dict[str, Any], words: str) -> None:
    ways = more.pop("ways", WAYS)
    with pytest.raises(ValueError, match=words) as raised:
        normalised(ways, **more)
    assert "; " in str(raised.value)


@pytest.mark.parametrize(("step", "orbits"), [(10.0, False), (10.0, True)])
def test_phases_too_far_apart_for_the_grid_are_said(step: float, orbits: bool) -> None:
    """A point r beside the one that was turned about: its phase is k r cos(angle to it), at most k r a radian."""
    beside, speed = 0.20, 343.2
    grid = sphere_grid(step)
    ways = unit_vectors(grid)
    if orbits:
        ways = ways[np.minimum(np.abs(ways[:, 1]), np.abs(ways[:, 2])) < 1e-9]
    values = np.exp(2j * np.pi * FREQUENCIES / speed * beside * ways[:, 1:2])
    (note,) = normalised(ways, values=values).notes
    first = float(note.split()[1])
    steepest = 2.0 * np.pi / 3.0 / np.radians(step) * speed / (2.0 * np.pi * beside)
    assert note.endswith("the phase between them is a guess")
    assert 1.0 < first / steepest < 2.5
    assert normalised(ways, values=np.exp(2j * np.pi * FREQUENCIES / speed * 0.01 * ways[:, 1:2])).notes == ()
