"""Cabinets as boxes, against boundary elements of other make, a finer mesh and what a box must do."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import sim.loudspeakers.box_solver as solver
from sim.loudspeakers.box_directivity import FADES_FROM, box_directivity, by_edges
from sim.loudspeakers.box_solver import Disc, radiated
from sim.loudspeakers.box_tables import (
    LIST,
    SHIPPED,
    SUFFIX,
    BoxedDriver,
    grid_directions,
    ready,
    table_of,
    twice_as_fine,
    unpacked,
    wavenumbers_of,
)
from sim.loudspeakers.catalogue import Design, generic_loudspeaker
from sim.loudspeakers.pistons import piston_directivity
from tests.builders.box_bem import ANGLES_DEG, FREQUENCIES_HZ, SPEED_M_S, directions, reference
from tests.loudspeakers.box_edges_slowly import by_edges_slowly

WOOFER, TWEETER = BoxedDriver(1800, 2900, 2300, 0, 750, 525), BoxedDriver(1800, 2900, 2300, 0, 750, 125)
CASES = [("5-inch two-way", "woofer", WOOFER, -1.0), ("5-inch two-way", "tweeter", TWEETER, 1.0)]
CASES += [("coaxial", "woofer", BoxedDriver(2500, 3500, 3000, 0, 0, 825), 1.0)]
SPEED = 343.2


def level_db(pressure: np.ndarray) -> np.ndarray:
    return np.maximum(20.0 * np.log10(np.abs(pressure)), -25.0)


def rms(error: np.ndarray) -> float:
    return float(np.sqrt(np.mean(error**2)))


@pytest.mark.parametrize(("box", "part", "driver", "side"), CASES, ids=lambda value: str(value)[:14])
def test_against_boundary_elements_of_other_make(box: str, part: str, driver: BoxedDriver, side: float) -> None:
    """tests/builders/box_bem.py, 250 Hz to 4 kHz; a cap on a sphere is 1.5 to 2.5 dB off in front, 4 dB behind."""
    found = box_directivity(driver, (1.0, side), directions(), np.array(FREQUENCIES_HZ), SPEED_M_S)
    exact = reference(box, part)
    error = level_db(found.T.reshape(exact.shape)) - level_db(exact)
    angles = np.array(ANGLES_DEG)
    assert rms(error[1:, :, (angles >= 10) & (angles <= 120)]) < 0.4
    assert rms(error[1:, :, angles >= 150]) < 0.8
    assert rms(error[:4]) < 0.12


def test_shipped_tables_are_what_a_finer_mesh_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    """Mesh, step of frequency and step of direction together; directions and frequencies between those of the table."""
    ways = np.random.default_rng(3).normal(size=(120, 3))
    ways = np.vstack([[1.0, 0.0, 0.0], ways / np.linalg.norm(ways, axis=1)[:, None]])
    frequencies = np.array([305.0, 1111.0, 2731.0])
    found = box_directivity(TWEETER, (1.0, 1.0), ways, frequencies, SPEED)
    monkeypatch.setattr(solver, "ELEMENTS_PER_WAVELENGTH", 12.0)
    monkeypatch.setattr(solver, "LARGEST_ELEMENT", 1.0 / 16.0)
    for column, frequency in enumerate(frequencies):
        k = 2.0 * np.pi * frequency / SPEED
        exact = radiated(TWEETER.size_m, [TWEETER.disc(0.0125)], ways, k)[0]
        exact /= exact[0]
        error = level_db(found[:, column]) - level_db(exact)
        front = ways[:, 0] > np.cos(np.radians(125.0))
        assert rms(error[front]) < 0.15
        assert rms(error[~front]) < 0.3
        assert np.abs(np.angle(found[:, column] / exact))[ways[:, 0] > 0.5].max() < 0.06


def test_off_the_middle_of_the_front_left_and_right_differ_and_mirror() -> None:
    driver = BoxedDriver(2900, 4900, 3600, 500, 1300, 125)
    ways = np.array([[0.5, 0.6, 0.3], [0.5, -0.6, 0.3], [0.5, 0.6, -0.3]])
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    frequencies = np.array([1500.0, 9000.0])
    right = box_directivity(driver, (1.0, 1.0), ways, frequencies, SPEED)
    left = box_directivity(driver, (-1.0, 1.0), ways, frequencies, SPEED)
    below = box_directivity(driver, (1.0, -1.0), ways, frequencies, SPEED)
    assert right[0] == pytest.approx(left[1])
    assert right[0] == pytest.approx(below[2])
    assert np.abs(level_db(right[0]) - level_db(right[1])).max() > 0.3


def test_one_on_the_axis_even_in_the_bass_and_no_step_where_the_table_ends() -> None:
    ways = grid_directions(10)
    frequencies = np.array([0.0, 20.0, 100.0, 900.0, 4000.0, 5000.0, 16000.0])
    found = box_directivity(TWEETER, (1.0, 1.0), ways, frequencies, SPEED)
    assert found[0] == pytest.approx(1.0, abs=1e-9)
    assert np.abs(level_db(found[:, 1])).max() < 0.1
    top_hz = wavenumbers_of(TWEETER.size_m)[-1] * SPEED / (2.0 * np.pi)
    for border in (top_hz, FADES_FROM * top_hz):
        around = box_directivity(TWEETER, (1.0, 1.0), ways, border * np.array([0.9999, 1.0001]), SPEED)
        assert np.abs(np.diff(around)).max() < 0.01
    lowest_hz = wavenumbers_of(TWEETER.size_m)[0] * SPEED / (2.0 * np.pi)
    around = box_directivity(TWEETER, (1.0, 1.0), ways, lowest_hz * np.array([0.9999, 1.0001]), SPEED)
    assert np.abs(np.diff(around)).max() < 0.01


def test_edges_are_those_of_the_slow_way() -> None:
    """All round, along edges and at their shadows' borders, from the deep bass to the highest treble."""
    ways = np.vstack([grid_directions(10), np.random.default_rng(2).normal(size=(60, 3))])
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    k = np.concatenate([[1e-3, 0.1, 1.0], np.geomspace(10.0, 420.0, 57)])
    radius = np.linspace(0.08, 0.01, len(k))
    for place in (Disc(0.0, 0.075, 0.0), Disc(0.02, -0.05, 0.0)):
        found = by_edges((0.18, 0.29, 0.23), place, radius, ways, k)
        np.testing.assert_allclose(found, by_edges_slowly((0.18, 0.29, 0.23), place, radius, ways, k), atol=1e-7)


def test_edges_join_the_table_in_front() -> None:
    """Within 60 degrees the two agree where one fades into the other."""
    k = 0.95 * wavenumbers_of(TWEETER.size_m)[-1:]
    ways = grid_directions(10)
    ways = ways[ways[:, 0] >= 0.5]
    ahead = np.array([[1.0, 0.0, 0.0]])
    radius = np.array([0.0125])
    edges = by_edges(TWEETER.size_m, TWEETER.disc(), radius, ways, k)[:, 0]
    edges /= by_edges(TWEETER.size_m, TWEETER.disc(), radius, ahead, k)[0]
    exact = radiated(TWEETER.size_m, [TWEETER.disc(0.0125)], np.vstack([ahead, ways]), float(k[0]))[0]
    assert rms(level_db(edges) - level_db(exact[1:] / exact[0])) < 0.3


def test_far_above_its_size_a_box_is_a_baffle() -> None:
    """In a large front the edges fade as 1/sqrt(k rho) and the piston in a baffle is left (Kinsler et al.)."""
    ways = np.array([[np.cos(a), np.sin(a), 0.0] for a in np.radians([0.0, 20.0, 40.0])])
    off = []
    for side in (0.5, 5.0, 50.0):
        k = np.array([200.0])
        found = by_edges((side, 1.3 * side, side), Disc(0.0, 0.1 * side, 0.0), np.array([0.02]), ways, k)[:, 0]
        piston = piston_directivity([0.02], k / (2.0 * np.pi), ways[:, 0], 1.0)[:, 0]
        off.append(np.abs(found - piston).max())
    assert off[0] > off[1] > off[2]
    assert off[2] < 0.1


def test_fouriers_sum_is_exact_for_waves_the_grid_can_hold() -> None:
    def field(step: int) -> np.ndarray:
        ways = grid_directions(step)
        return np.exp(1j * ways @ [2.0, 3.0, -1.5]).reshape(180 // step + 1, 360 // step)

    assert twice_as_fine(field(10)) == pytest.approx(field(5), abs=1e-9)


def test_every_table_of_the_list_is_shipped_whole_and_small() -> None:
    lines = [line.partition("#")[0].split() for line in LIST.read_text(encoding="utf-8").splitlines()]
    drivers = [BoxedDriver(*(int(each) for each in line)) for line in lines if line]
    assert {f"{each.name}{SUFFIX}" for each in drivers} == {each.name for each in SHIPPED.glob(f"*{SUFFIX}")}
    assert sum(each.stat().st_size for each in SHIPPED.iterdir()) < 1_000_000
    for each in drivers:
        assert unpacked(each, (SHIPPED / f"{each.name}{SUFFIX}").read_bytes()).shape[1:] == (37, 72)


def test_a_new_size_is_solved_once_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sim.loudspeakers.box_tables as store
    import sim.loudspeakers.box_tables as tables

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr(tables, "wavenumbers_of", lambda _: np.array([3.0, 9.0]))
    driver = BoxedDriver(1111, 1777, 1444, 0, 300, 200)
    said: list[str] = []
    ready([driver], said.append)
    assert len(said) == 2
    assert said[-1] == "solving how a cabinet of this size radiates, once: 2 of 2 frequencies"
    (kept,) = (tmp_path / "bounceplan").rglob(f"*{SUFFIX}")
    whole = kept.read_bytes()
    store._solved.clear()
    ready([driver], said.append)
    assert len(said) == 2
    kept.write_bytes(whole[:-9])  # damaged: made anew, the same
    store._solved.clear()
    ready([driver], said.append)
    assert len(said) == 4
    assert kept.read_bytes() == whole
    table_of.cache_clear()
    store._solved.clear()


def test_a_waveguide_is_a_driver_as_large_as_it_works() -> None:
    """Its mouth in the bass, its coverage above."""
    driver = BoxedDriver(2000, 3000, 2500, 0, 800, 125, 600, 900)
    radii = driver.radii_m(2.0 * np.pi / SPEED * np.array([500.0, 4000.0, 19000.0]))
    assert radii[0] == pytest.approx(0.06)
    assert radii[1] == pytest.approx(2.21509 * SPEED / (2.0 * np.pi * 4000.0 * np.sin(np.pi / 4.0)))
    assert radii[2] >= 0.0125


def test_a_loudspeaker_takes_the_table_of_each_driver_where_it_sits() -> None:
    ways = np.array([[0.2, 0.5, -0.8]]) / np.linalg.norm([0.2, 0.5, -0.8])
    found = generic_loudspeaker("two-way", Design()).radiation(ways, [2200.0], SPEED)
    for row, driver, side in ((0, WOOFER, -1.0), (1, TWEETER, 1.0)):
        expected = box_directivity(driver, (1.0, side), ways, np.array([2200.0]), SPEED)
        assert np.abs(found[row, 0]) == pytest.approx(0.5 * np.abs(expected[0]))


def read_slowly(driver: BoxedDriver, way: np.ndarray, wavenumber: float) -> complex:
    """Pressure re on axis from the table: a cubic through four by four directions, then one through six frequencies."""
    table, known = table_of(driver), wavenumbers_of(driver.size_m)

    def at(forward: float, right: float, up: float) -> complex:
        angle = np.arccos(np.clip(forward, -1.0, 1.0)) / np.pi * (table.shape[1] - 1)
        turn = np.arctan2(up, right) / (2.0 * np.pi) % 1.0 * table.shape[2]
        row, column = min(int(angle), table.shape[1] - 2), int(turn)
        first = int(np.clip(np.searchsorted(known, wavenumber) - 3, 0, len(known) - 6))
        values = np.zeros(6, dtype=np.complex128)
        for i in range(-1, 3):
            for j in range(-1, 3):
                here, across = row + i, column + j
                if here < 0 or here >= table.shape[1]:
                    here = -here if here < 0 else 2 * (table.shape[1] - 1) - here
                    across += table.shape[2] // 2
                share = lagrange(angle - row, i, range(-1, 3)) * lagrange(turn - column, j, range(-1, 3))
                values += share * table[first : first + 6, here, across % table.shape[2]]
        places = np.log(known[first : first + 6])
        return complex(sum(lagrange(np.log(wavenumber), places[n], places) * values[n] for n in range(6)))

    return at(*way) / at(1.0, 0.0, 0.0)


def lagrange(x: float, own: float, places: object) -> float:
    """Weight at x of the value at one of some places."""
    return float(np.prod([(x - other) / (own - other) for other in places if other != own]))  # type: ignore[attr-defined]


def test_tables_are_read_as_written_out() -> None:
    """Below the edges, above the lowest frequency; also straight ahead, straight back and past both poles."""
    ways = np.random.default_rng(5).normal(size=(12, 3))
    ways = np.vstack([np.eye(3), -np.eye(3), [[0.9999, 0.01, -0.01], [-0.9999, 0.01, 0.01]], ways])
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    known = wavenumbers_of(TWEETER.size_m)
    wavenumbers = np.geomspace(1.01 * known[0], 0.99 * FADES_FROM * known[-1], 7)
    found = box_directivity(TWEETER, (1.0, 1.0), ways, wavenumbers * SPEED / (2.0 * np.pi), SPEED)
    slow = np.array([[read_slowly(TWEETER, way, float(k)) for k in wavenumbers] for way in ways])
    np.testing.assert_allclose(found, slow, atol=1e-10)
