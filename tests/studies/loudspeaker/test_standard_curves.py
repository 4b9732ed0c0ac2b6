"""Curves of ANSI/CTA-2034-A, against values worked out by hand for sources of known shape."""

from __future__ import annotations

import numpy as np
import pytest

from sim.loudspeakers.catalogue import generic_loudspeaker
from sim.studies.loudspeaker.text import BOUNCES, GROUPS, POINTS, band_energy, curves_of, directions, power_weight

SPEED = 343.2


def test_seventy_points_and_the_angles_of_the_groups() -> None:
    assert len(POINTS) == len(set(POINTS)) == 70
    assert {name: len(group) for name, group in GROUPS.items()} == {
        "listening window": 9,
        "floor bounce": 3,
        "ceiling bounce": 3,
        "front wall bounce": 7,
        "side wall bounce": 10,
        "rear wall bounce": 19,
    }
    for group in GROUPS.values():
        assert set(group) <= set(POINTS)
        assert len(set(group)) == len(group)
    assert all(angle < 0 for _, angle in GROUPS["floor bounce"])
    assert all(orbit == "vertical" and angle > 0 for orbit, angle in GROUPS["ceiling bounce"])


# ANSI/CTA-2034-A, Appendix C
@pytest.mark.parametrize(
    ("angle", "weight"),
    [
        (0, 0.000604486),
        (10, 0.004730189),
        (20, 0.008955027),
        (30, 0.012387354),
        (40, 0.014989611),
        (50, 0.016868154),
        (60, 0.018165962),
        (70, 0.019006744),
        (80, 0.019477787),
        (90, 0.019629373),
        (180, 0.000604486),
        (-110, 0.019006744),
        (170, 0.004730189),
    ],
)
def test_weights_of_sound_power(angle: int, weight: float) -> None:
    assert power_weight(angle) == pytest.approx(weight, abs=1e-9)


def test_weights_sum_to_what_they_do() -> None:
    assert sum(power_weight(angle) for _, angle in POINTS) == pytest.approx(0.996373088, abs=1e-8)


def levels(energy: np.ndarray) -> dict[str, float]:
    curves = curves_of(energy[:, None])
    found = {
        "listening window": curves.listening_window_db[0],
        "early": curves.early_reflections_db[0],
        "power": curves.sound_power_db[0],
        "early index": curves.early_reflections_index_db[0],
        "power index": curves.sound_power_index_db[0],
        "in-room": curves.in_room_db[0],
    }
    return {**found, **{name: curves.bounces_db[row, 0] for row, name in enumerate(BOUNCES)}}


def test_an_even_source_has_flat_curves() -> None:
    assert list(levels(np.full(70, 0.37)).values()) == pytest.approx([0.0] * 11, abs=1e-9)


def test_a_cardioid() -> None:
    """Squared pressure ((1 + cos)/2)^2 at the seventy points, summed by hand in a spreadsheet's manner."""
    found = levels(((1.0 + directions()[:, 0]) / 2.0) ** 2)
    wanted = {
        "listening window": -0.2168,
        "floor bounce": -0.6368,
        "ceiling bounce": -1.7243,
        "front wall bounce": -0.2608,
        "side wall bounce": -2.5003,
        "rear wall bounce": -11.6986,
        "early": -2.0655,
        "power": -4.6796,
        "power index": 4.4628,
        "early index": 1.8487,
        "in-room": -2.6969,
    }
    assert found == pytest.approx(wanted, abs=1e-3)
    # the mean over the whole sphere is one third; two orbits miss it by a tenth of a decibel
    assert found["power"] == pytest.approx(10.0 * np.log10(1.0 / 3.0), abs=0.1)


def test_a_dipole() -> None:
    found = levels(directions()[:, 0] ** 2)
    assert found["listening window"] == pytest.approx(-0.4333, abs=1e-3)
    assert (found["early"], found["power"]) == pytest.approx((-2.5239, -4.4159), abs=1e-3)
    assert (found["power index"], found["early index"]) == pytest.approx((3.9826, 2.0906), abs=1e-3)
    assert found["in-room"] == pytest.approx(-2.8917, abs=1e-3)


def test_sound_power_of_a_coaxial_is_the_mean_over_the_sphere() -> None:
    """Two orbits stand for the whole sphere, on which the mean is taken by a rule of its own.

    The weights of ten-degree strips miss the exact mean by up to a quarter of a decibel where it beams, and a driver
    in a box that is higher than wide is not round about its axis: what lies between the orbits is not on them.
    """
    coaxial = generic_loudspeaker("coaxial")
    frequencies = np.array([[125.0], [500.0], [2000.0], [5000.0]])
    power = curves_of(band_energy(coaxial, directions(), frequencies, SPEED)).sound_power_db
    nodes, weights = np.polynomial.legendre.leggauss(40)
    turns = np.arange(0.0, 2.0 * np.pi, np.pi / 24.0)
    across, up = (np.outer(np.sqrt(1.0 - nodes**2), part).ravel() for part in (np.cos(turns), np.sin(turns)))
    sphere = np.column_stack([np.repeat(nodes, len(turns)), across, up])
    mean = 0.5 * np.repeat(weights, len(turns)) @ band_energy(coaxial, sphere, frequencies, SPEED) / len(turns)
    assert power == pytest.approx(10.0 * np.log10(mean), abs=0.4)
    assert power[[0, 1, 3]] == pytest.approx(10.0 * np.log10(mean[[0, 1, 3]]), abs=0.15)
    assert power[0] > -0.6  # even in the bass
    assert power[0] > power[1] > power[2]


def test_bands_are_means_of_energy() -> None:
    two_way = generic_loudspeaker("two-way")
    frequencies = np.array([[1800.0, 2200.0, 2600.0], [300.0, 310.0, 320.0]])
    way = np.array([[np.cos(0.5), 0.0, np.sin(0.5)]])
    slow = [np.mean([abs(two_way.far_pressure(way, [f], SPEED)[0, 0]) ** 2 for f in row]) for row in frequencies]
    assert band_energy(two_way, way, frequencies, SPEED)[0] == pytest.approx(slow)
