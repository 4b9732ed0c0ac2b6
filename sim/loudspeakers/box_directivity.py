"""A driver in a rigid box, all round: its table below, its edges one by one above, 1 on its own axis.

The table (`sim.loudspeakers.box_tables`) is put onto the frequencies asked for by a polynomial through six of its own,
once for each set of frequencies, and read in each direction by a cubic through four by four of its grid.  Over the last
part of its range it fades into `sim.loudspeakers.box_kernels`.  Below its lowest frequency the difference from an even
source goes with the frequency in phase and with its square in level, as the first terms of the wave round a body do.

Measured against boundary elements of other make (tests/builders/box_bem.py, whose own error is 0.2 to 0.5 dB from 2 kHz
on) and against finer meshes: tests/loudspeakers/test_box_directivity.py.  Rounded edges, grilles and the shape of
waveguides are not covered.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.loudspeakers.box_solver import Disc, Size
from sim.loudspeakers.box_tables import FINE_DEG, BoxedDriver, table_of, wavenumbers_of

FADES_FROM: Final = 0.8
"""From this fraction of the highest wavenumber of its table a driver fades into its edges."""
_SIX: Final = 6
_ANGLES, _TURNS = 180 // FINE_DEG + 1, 360 // FINE_DEG


def box_directivity(
    driver: BoxedDriver,
    sides: tuple[float, float],
    directions: FloatArray,
    frequencies_hz: FloatArray,
    speed_of_sound_m_s: float,
) -> ComplexArray:
    """Pressure relative to the driver's own axis toward unit vectors (m, 3), complex, (m, f).

    Directions are (forward, right, up); `sides` (right, up) of +-1 tell on which side of the middle the driver sits,
    since tables are of the upper right quarter.  The phase is that beside e^{-jkr} with r from the driver's middle.
    """
    ways = directions * np.array([1.0, *sides])
    wavenumbers = 2.0 * np.pi / speed_of_sound_m_s * np.maximum(frequencies_hz, 1e-3)
    highest = float(wavenumbers_of(driver.size_m)[-1])
    below, above = wavenumbers < highest, wavenumbers > FADES_FROM * highest
    pressure = np.zeros((len(ways), len(wavenumbers)), dtype=np.complex128)
    if below.any():
        pressure[:, below] = _from_table(driver, ways, wavenumbers[below])
    if above.any():
        asked = wavenumbers[above]
        part = np.clip((asked / highest - FADES_FROM) / (1.0 - FADES_FROM), 0.0, 1.0)
        radii = driver.radii_m(asked)
        reference = 1.0 / by_edges(driver.size_m, driver.disc(), radii, np.array([[1.0, 0.0, 0.0]]), asked)[0]
        weight = 0.5 - 0.5 * np.cos(np.pi * part)
        edges = by_edges(driver.size_m, driver.disc(), radii, ways, asked)
        pressure[:, above] = (1.0 - weight) * pressure[:, above] + weight * reference * edges
    return pressure


def by_edges(
    size_m: Size, disc: Disc, radius_m: FloatArray, directions: FloatArray, wavenumbers: FloatArray
) -> ComplexArray:
    """Far pressure (m, f) toward (forward, right, up) unit vectors (m, 3), a piston in a baffle being 1 on its axis.

    `radius_m` (f,) of the driver at each frequency.  The phase is that beside e^{-jkr} with r from the driver's middle.
    """
    from sim.loudspeakers.box_kernels import add_edges

    total = np.zeros((len(directions), len(wavenumbers)), dtype=np.complex128)
    place = np.array([disc.right_m, disc.up_m])
    ways, radius = np.array(directions, dtype=np.float64), np.array(radius_m, dtype=np.float64)
    add_edges(np.array(size_m, dtype=np.float64), place, ways, radius, np.array(wavenumbers, dtype=np.float64), total)
    return total


def _from_table(driver: BoxedDriver, ways: FloatArray, wavenumbers: FloatArray) -> ComplexArray:
    """Pressure re on axis (m, f), from the table."""
    from sim.loudspeakers.box_kernels import read_places

    table = _flat(driver)
    weights = _weights(driver.size_m, wavenumbers.tobytes())
    places, shares = _reading(ways)
    read = read_places(table, places, shares)  # directions first, since there are fewer of them
    found: ComplexArray = (read.real @ weights) + 1j * (read.imag @ weights)
    found /= table[0] @ weights
    low = np.minimum(wavenumbers / wavenumbers_of(driver.size_m)[0], 1.0)
    if low.min() < 1.0:
        found = 1.0 + (found.real - 1.0) * low**2 + 1j * found.imag * low
    return found


@lru_cache(maxsize=64)
def _flat(driver: BoxedDriver) -> ComplexArray:
    """Table of a driver as (angle * turn, k)."""
    table = table_of(driver)
    return frozen(np.ascontiguousarray(table.reshape(len(table), -1).T))


@lru_cache(maxsize=64)
def _weights(size_m: Size, packed: bytes) -> FloatArray:
    """Lagrange's weights (k, f) of six neighbours on a logarithmic axis, for wavenumbers (f,) given as bytes."""
    known = wavenumbers_of(size_m)
    asked = np.log(np.maximum(np.frombuffer(packed, dtype=np.float64), known[0]))
    place = np.log(known)
    first = np.clip(np.searchsorted(place, asked) - _SIX // 2, 0, len(known) - _SIX)
    weights = np.zeros((len(known), len(asked)))
    for number in range(_SIX):
        weight = np.ones(len(asked))
        for other in range(_SIX):
            if other != number:
                weight *= (asked - place[first + other]) / (place[first + number] - place[first + other])
        weights[first + number, np.arange(len(asked))] = weight
    return frozen(weights)


def _reading(ways: FloatArray) -> tuple[IntArray, FloatArray]:
    """Places (m, 16) in a grid, flat (angle * turn), and their weights (m, 16) that read it in directions (m, 3)."""
    angle = np.arccos(np.clip(ways[:, 0], -1.0, 1.0)) / np.pi * (_ANGLES - 1)
    turn = np.arctan2(ways[:, 2], ways[:, 1]) / (2.0 * np.pi) % 1.0 * _TURNS
    row, column = np.minimum(angle.astype(np.int64), _ANGLES - 2), turn.astype(np.int64)
    by_row, by_column = _cubic(angle - row), _cubic(turn - column)
    rows = row[:, None] + np.arange(-1, 3)
    past = (rows < 0) | (rows >= _ANGLES)  # past a pole the circle comes down on the other side
    rows = np.where(rows < 0, -rows, np.where(rows >= _ANGLES, 2 * (_ANGLES - 1) - rows, rows))
    columns = column[:, None, None] + np.arange(-1, 3) + np.where(past, _TURNS // 2, 0)[:, :, None]
    places: IntArray = rows[:, :, None] * _TURNS + columns % _TURNS
    weights = by_row[:, :, None] * by_column[:, None, :]
    return places.reshape(-1, 16), weights.reshape(-1, 16)


def _cubic(x: FloatArray) -> FloatArray:
    """Lagrange's weights (m, 4) of values at -1, 0, 1 and 2."""
    return np.column_stack(
        [
            -x * (x - 1.0) * (x - 2.0) / 6.0,
            (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
            -(x + 1.0) * x * (x - 2.0) / 2.0,
            (x + 1.0) * x * (x - 1.0) / 6.0,
        ]
    )
