"""What whole loudspeakers radiate in octaves, and the table that rays read it from."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands, sample_frequencies
from sim.loudspeakers.catalogue import Loudspeaker, generic_loudspeaker
from sim.propagation.energy.image_energy import POINTS_IN_AN_OCTAVE, energy_table, octave_energy

SPEED = 343.2


def toward(angle_deg: float, turn_deg: float) -> np.ndarray:
    angle, turn = np.radians([angle_deg, turn_deg])
    return np.array([np.cos(angle), np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn)])


def summed_by_hand(model: Loudspeaker, way: np.ndarray) -> np.ndarray:
    """Drivers one by one, frequency by frequency."""
    found = []
    for frequencies in sample_frequencies(octave_bands(63, 8000), POINTS_IN_AN_OCTAVE):
        energies = []
        for frequency in frequencies:
            sums = [0.0 + 0.0j, 0.0 + 0.0j]
            for number, driver in enumerate(model.drivers):
                for side, direction in enumerate((way, np.array([1.0, 0.0, 0.0]))):
                    nearer = float(np.array(driver.offset_m) @ direction)
                    pressure = model.driver_radiation(number, direction[None], [frequency], SPEED)[0, 0]
                    sums[side] += pressure * np.exp(2j * np.pi * frequency * nearer / SPEED)
            energies.append([abs(each) ** 2 for each in sums])
        off, on = np.mean(energies, axis=0)
        found.append(off / on)
    return np.array(found)


@pytest.mark.parametrize("angles", [(0.0, 0.0), (30.0, 90.0), (75.0, 10.0), (160.0, 240.0)])
def test_drivers_add_as_pressures(angles: tuple[float, float]) -> None:
    model = generic_loudspeaker("two-way")
    way = toward(*angles)
    assert octave_energy(model, way[None], SPEED)[0] == pytest.approx(summed_by_hand(model, way), rel=1e-9)


def test_one_on_the_axis_and_little_behind_in_the_treble() -> None:
    model = generic_loudspeaker("three-way")
    on, behind = octave_energy(model, np.array([[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]]), SPEED)
    assert on == pytest.approx(1.0, abs=1e-12)
    assert behind[7] < 0.02 < 0.5 < behind[0]


def test_the_table_is_the_energy_at_its_nodes_and_near_it_between() -> None:
    model = generic_loudspeaker("two-way")
    table = energy_table(model, SPEED)
    assert table.shape == (37, 72, 8)
    exact = octave_energy(model, np.stack([toward(35.0, 50.0), toward(110.0, 355.0), toward(37.5, 52.5)]), SPEED)
    assert table[7, 10] == pytest.approx(exact[0], rel=1e-9)
    assert table[22, 71] == pytest.approx(exact[1], rel=1e-9)
    between = 0.25 * (table[7, 10] + table[8, 10] + table[7, 11] + table[8, 11])
    assert between == pytest.approx(exact[2], rel=0.06)


def test_many_directions_at_once() -> None:
    model = generic_loudspeaker("coaxial")
    ways = np.stack([toward(7.0 * n % 180.0, 11.0 * n) for n in range(1100)])
    together = octave_energy(model, ways, SPEED)
    assert together.shape == (1100, 8)
    assert together[1099] == pytest.approx(octave_energy(model, ways[1099:], SPEED)[0], rel=1e-12)
