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

from dataclasses import dataclass
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
    from sim.loudspeakers.box_kernels import add_edges, read_table

    ways = np.ascontiguousarray(directions * np.array([1.0, *sides]))
    known = _at_frequencies(driver, (2.0 * np.pi / speed_of_sound_m_s * np.maximum(frequencies_hz, 1e-3)).tobytes())
    pressure = np.zeros((len(ways), len(frequencies_hz)), dtype=np.complex128)
    if len(known.below[0]):
        read_table(_flat(driver), ways, _ANGLES, _TURNS, *known.below, pressure)
    if len(known.above[0]):
        add_edges(*_size_and_place(driver.size_m, driver.disc()), ways, *known.above, pressure)
    return pressure


def by_edges(
    size_m: Size, disc: Disc, radius_m: FloatArray, directions: FloatArray, wavenumbers: FloatArray
) -> ComplexArray:
    """Far pressure (m, f) toward (forward, right, up) unit vectors (m, 3), a piston in a baffle being 1 on its axis.

    `radius_m` (f,) of the driver at each frequency.  The phase is that beside e^{-jkr} with r from the driver's middle.
    """
    from sim.loudspeakers.box_kernels import add_edges

    total = np.zeros((len(directions), len(wavenumbers)), dtype=np.complex128)
    radius, asked = (frozen(np.array(each, dtype=np.float64)) for each in (radius_m, wavenumbers))
    one, columns = frozen(np.ones(len(asked), dtype=np.complex128)), frozen(np.arange(len(asked)))
    ways = np.array(directions, dtype=np.float64)
    add_edges(*_size_and_place(size_m, disc), ways, radius, asked, one, columns, total)
    return total


def _size_and_place(size_m: Size, disc: Disc) -> tuple[FloatArray, FloatArray]:
    return np.array(size_m, dtype=np.float64), np.array([disc.right_m, disc.up_m])


@dataclass(frozen=True, slots=True)
class _AtFrequencies:
    """What `read_table` and `add_edges` need to know of a driver at some frequencies, in the order they take it."""

    below: tuple[IntArray, FloatArray, FloatArray, FloatArray, IntArray]
    above: tuple[FloatArray, FloatArray, ComplexArray, IntArray]


@lru_cache(maxsize=64)
def _at_frequencies(driver: BoxedDriver, packed: bytes) -> _AtFrequencies:
    """For wavenumbers (f,) in rad/m, given as bytes."""
    wavenumbers = np.frombuffer(packed, dtype=np.float64)
    known = wavenumbers_of(driver.size_m)
    highest = float(known[-1])
    below, above = np.flatnonzero(wavenumbers < highest), np.flatnonzero(wavenumbers > FADES_FROM * highest)
    part = np.clip((wavenumbers / highest - FADES_FROM) / (1.0 - FADES_FROM), 0.0, 1.0)
    by_edge = 0.5 - 0.5 * np.cos(np.pi * part)
    asked, edged = wavenumbers[below], wavenumbers[above]
    first, weights = _six_weights(driver.size_m, asked)
    row, count = _flat(driver)[0], len(known)
    six = first + np.arange(_SIX)[:, None]
    ahead = 1.0 / ((row[six] * weights).sum(axis=0) + 1j * (row[six + count] * weights).sum(axis=0))
    low = np.minimum(asked / known[0], 1.0)
    radii = driver.radii_m(edged)
    straight = by_edges(driver.size_m, driver.disc(), radii, np.array([[1.0, 0.0, 0.0]]), edged)[0]
    return _AtFrequencies(
        (
            frozen(first),
            frozen(weights),
            frozen(np.stack([ahead.real, ahead.imag])),
            frozen(np.stack([low**2, low, 1.0 - by_edge[below]])),
            frozen(below),
        ),
        (frozen(np.array(radii)), frozen(edged.copy()), frozen(by_edge[above] / straight), frozen(above)),
    )


@lru_cache(maxsize=64)
def _flat(driver: BoxedDriver) -> FloatArray:
    """Table of a driver as (angle * turn, 2 k), real parts before imaginary ones."""
    table = table_of(driver)
    rows = table.reshape(len(table), -1).T
    return frozen(np.hstack([rows.real, rows.imag]))


def _six_weights(size_m: Size, asked: FloatArray) -> tuple[IntArray, FloatArray]:
    """First of six neighbours (f,) on a logarithmic axis, and Lagrange's weights (6, f), for wavenumbers (f,)."""
    known = wavenumbers_of(size_m)
    wanted, place = np.log(np.maximum(asked, known[0])), np.log(known)
    first = np.clip(np.searchsorted(place, wanted) - _SIX // 2, 0, len(known) - _SIX).astype(np.int64)
    weights = np.ones((_SIX, len(asked)))
    for number in range(_SIX):
        for other in range(_SIX):
            if other != number:
                weights[number] *= (wanted - place[first + other]) / (place[first + number] - place[first + other])
    return first, weights
