"""A box room with hard or absorbing walls against the lattice of its images.

Allen & Berkley, J. Acoust. Soc. Am. 65 (1979) 943-950.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.air import attenuation_db_per_m
from sim.acoustics.bands import octave_bands
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from tests.built_scenes import HARD, box, built_scene_of
from tests.naive import lattice

SIZES = np.array([5.0, 4.0, 3.0])
SOURCE, EAR = (1.0, 1.5, 1.2), (3.5, 2.25, 1.2)
WALLS = ("front wall", "rear wall", "left wall", "right wall", "floor", "ceiling")
SPEED = 343.2

PRINTED = [
    ((), 2.610077, 7.6051, 0.0),
    (("floor",), 3.545772, 10.3315, -2.661),
    (("ceiling",), 4.446628, 12.9564, -4.628),
    (("left wall",), 4.506939, 13.1321, -4.745),
    (("front wall",), 4.562072, 13.2928, -4.850),
    (("right wall",), 4.930771, 14.3670, -5.525),
    (("rear wall",), 5.550901, 16.1740, -6.554),
    (("floor", "left wall"), 5.106124, 14.8780, -5.829),
    (("floor", "front wall"), 5.154852, 15.0200, -5.911),
    (("front wall", "left wall"), 5.857687, 17.0679, -7.021),
]
"""Room of 5 x 4 x 3 m at 343.2 m/s: surfaces, length in m, time in ms, level in dB; worked with pencil from the
lattice."""


def traced(order: int, **more: object) -> tuple[BuiltScene, PathTable]:
    built = built_scene_of(box(*SIZES), [SOURCE], EAR, **more)  # type: ignore[arg-type]
    return built, trace_paths(built, order)


def hits(built: BuiltScene, paths: PathTable, row: int) -> tuple[int, ...]:
    names = [built.room.facets[f].name for f in paths.facets[row] if f >= 0]
    return tuple(names.count(wall) for wall in WALLS)


def image(paths: PathTable, row: int) -> np.ndarray:
    """The image the last leg seems to come from."""
    return np.array(EAR) + paths.length_m[row] * paths.arrival[row]


def test_every_image_to_order_six_is_where_the_lattice_has_it() -> None:
    built, paths = traced(6)
    found = sorted((*np.round(image(paths, row), 6), hits(built, paths, row)) for row in range(len(paths)))
    expected = sorted((*np.round(place, 6), walls) for place, walls in lattice(SIZES, np.array(SOURCE), 6))
    assert [each[3] for each in found] == [each[3] for each in expected]
    assert np.array([each[:3] for each in found]) == pytest.approx(
        np.array([each[:3] for each in expected]), rel=1e-9, abs=1e-6
    )


def test_lengths_and_pressures_to_order_six_equal_the_lattice_to_a_billionth() -> None:
    _, paths = traced(6)
    built = built_scene_of(box(*SIZES), [SOURCE], EAR)
    lengths = np.sort(
        [float(np.linalg.norm(place - np.array(EAR))) for place, _ in lattice(SIZES, np.array(SOURCE), 6)]
    )
    assert np.sort(paths.length_m) == pytest.approx(lengths, rel=1e-9)
    # at 0 Hz air takes nothing, so hard walls leave 1/r
    pressures = path_gains(built, paths, np.array([0.0]))[:, 0]
    assert np.sort(pressures.real)[::-1] == pytest.approx(1.0 / lengths, rel=1e-9)
    assert np.abs(pressures.imag).max() == 0.0


def test_travel_time_is_the_phase_slope() -> None:
    built, paths = traced(2)
    step = 1e-3
    below, above = path_gains(built, paths, np.array([500.0, 500.0 + step])).T
    seconds = -np.angle(above / below) / (2.0 * np.pi * step)
    assert seconds == pytest.approx(paths.length_m / SPEED, rel=1e-6)


@pytest.mark.parametrize(("order", "cumulative"), list(enumerate([1, 7, 25, 63, 129, 231, 377])))
def test_image_counts(order: int, cumulative: int) -> None:
    """4 N^2 + 2 images of order N; (2N + 1)(2N^2 + 2N + 3)/3 up to it, the source included."""
    assert (2 * order + 1) * (2 * order**2 + 2 * order + 3) // 3 == cumulative
    _, paths = traced(max(order, 1))
    orders = paths.order[paths.order <= order]
    assert len(orders) == cumulative
    if order:
        assert int((orders == order).sum()) == 4 * order**2 + 2


@pytest.mark.parametrize(("surfaces", "length_m", "time_ms", "level_db"), PRINTED)
def test_printed_rows(surfaces: tuple[str, ...], length_m: float, time_ms: float, level_db: float) -> None:
    built, paths = traced(2)
    rows = [
        row
        for row in range(len(paths))
        if sorted(built.room.facets[f].name for f in paths.facets[row] if f >= 0) == sorted(surfaces)
    ]
    assert len(rows) == 1
    assert built.air.speed_of_sound_m_s == pytest.approx(SPEED, abs=1e-12)
    assert paths.length_m[rows[0]] == pytest.approx(length_m, abs=5e-7)
    assert 1000.0 * paths.length_m[rows[0]] / SPEED == pytest.approx(time_ms, abs=5e-5)
    assert 20.0 * np.log10(paths.length_m[0] / paths.length_m[rows[0]]) == pytest.approx(level_db, abs=5e-4)


def test_floor_and_ceiling_have_two_images_of_one_length() -> None:
    built, paths = traced(2)
    rows = [row for row in range(len(paths)) if hits(built, paths, row) == (0, 0, 0, 0, 1, 1)]
    assert paths.length_m[rows] == pytest.approx([6.543126, 6.543126], abs=5e-7)
    assert sorted(image(paths, row)[2] for row in rows) == pytest.approx([-4.8, 7.2])


@pytest.mark.parametrize(("within_ms", "count"), [(15.0, 7), (20.0, 22), (30.0, 79)])
def test_arrivals_within_a_time(within_ms: float, count: int) -> None:
    """Counted on the lattice of the printed room; Schroeder's 4 pi c^3 t^3/(3V) gives 9.5, 22.6 and 76.2."""
    _, paths = traced(5)
    assert int((1000.0 * paths.length_m / SPEED <= within_ms).sum()) == count


def test_absorbing_walls_leave_the_product_of_what_each_returns() -> None:
    """Energy of every image: 1/r^2 times (1 - alpha) of each wall as often as it is hit, times the air."""
    alphas = {wall: 0.05 + 0.13 * number for number, wall in enumerate(WALLS)}
    rows = {wall: [alpha + 0.02 * octave for octave in range(8)] for wall, alpha in alphas.items()}
    room = box(*SIZES)
    room["materials"] = {wall: f"stuff of the {wall}" for wall in WALLS}
    built = built_scene_of(room, [SOURCE], EAR, absorption={f"stuff of the {wall}": row for wall, row in rows.items()})
    paths = trace_paths(built, 4)
    frequencies = octave_bands(63, 8000).exact_hz
    air = attenuation_db_per_m(frequencies, built.air)
    energy = np.abs(path_gains(built, paths, frequencies)) ** 2
    returned = 1.0 - np.array([rows[wall] for wall in WALLS])
    for row in range(len(paths)):
        walls = np.array(hits(built, paths, row))
        expected = np.prod(returned ** walls[:, None], axis=0) / paths.length_m[row] ** 2
        expected *= 10.0 ** (-air * paths.length_m[row] / 10.0)
        assert energy[row] == pytest.approx(expected, rel=1e-9)


inner = st.floats(0.06, 0.94)


@given(
    sizes=st.tuples(st.floats(1.5, 9.0), st.floats(1.5, 9.0), st.floats(1.8, 4.0)),
    source=st.tuples(inner, inner, inner),
    ear=st.tuples(inner, inner, inner),
)
def test_any_box(sizes: tuple[float, ...], source: tuple[float, ...], ear: tuple[float, ...]) -> None:
    # a scene keeps lengths to a nanometre
    sides = np.round(sizes, 9)
    s, e = np.round(np.array(source) * sides, 9), np.round(np.array(ear) * sides, 9)
    if np.linalg.norm(s - e) < 0.05:
        return
    built = built_scene_of(box(*sides), [tuple(s)], tuple(e))
    paths = trace_paths(built, 3)
    lengths = np.sort([float(np.linalg.norm(place - e)) for place, _ in lattice(sides, s, 3)])
    assert np.sort(paths.length_m) == pytest.approx(lengths, rel=1e-9)


def test_hard_in_the_tests_is_hard() -> None:
    built, _ = traced(1)
    assert built.absorption.tolist() == [HARD] * 6
