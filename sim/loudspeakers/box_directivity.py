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

from sim.arrays import ComplexArray, FloatArray, frozen
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
        reference = _edges_ahead(driver, asked.tobytes())
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
    from sim.loudspeakers.box_kernels import read_directions

    table, packed = _flat(driver), wavenumbers.tobytes()
    weights, count = _weights(driver.size_m, packed), table.shape[1] // 2
    read = read_directions(table, ways, _ANGLES, _TURNS)  # directions first, since there are fewer of them
    found: ComplexArray = (read[:, :count] @ weights) + 1j * (read[:, count:] @ weights)
    found /= _ahead(driver, packed)
    low = np.minimum(wavenumbers / wavenumbers_of(driver.size_m)[0], 1.0)
    if low.min() < 1.0:
        found = 1.0 + (found.real - 1.0) * low**2 + 1j * found.imag * low
    return found


@lru_cache(maxsize=64)
def _flat(driver: BoxedDriver) -> FloatArray:
    """Table of a driver as (angle * turn, 2 k), real parts before imaginary ones."""
    table = table_of(driver)
    rows = table.reshape(len(table), -1).T
    return frozen(np.hstack([rows.real, rows.imag]))


@lru_cache(maxsize=256)
def _ahead(driver: BoxedDriver, packed: bytes) -> ComplexArray:
    """Pressure (f,) straight ahead, from the table, for wavenumbers (f,) given as bytes."""
    row, weights = _flat(driver)[0], _weights(driver.size_m, packed)
    return frozen((row[: len(row) // 2] @ weights) + 1j * (row[len(row) // 2 :] @ weights))


@lru_cache(maxsize=256)
def _edges_ahead(driver: BoxedDriver, packed: bytes) -> ComplexArray:
    """One over the pressure (f,) straight ahead by the edges, for wavenumbers (f,) given as bytes."""
    asked = np.frombuffer(packed, dtype=np.float64)
    ahead = by_edges(driver.size_m, driver.disc(), driver.radii_m(asked), np.array([[1.0, 0.0, 0.0]]), asked)
    return frozen(1.0 / ahead[0])


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
