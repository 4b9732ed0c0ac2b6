"""What a source sends into a direction, against the same table read by SciPy."""

from __future__ import annotations

from typing import Any

import numba as nb
import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from sim.propagation.energy.leg_kernels import send
from sim.rays.lanes import store

POLAR, AROUND = 13, 24
TABLE = np.random.default_rng(3).uniform(0.1, 2.0, (POLAR, AROUND, 8))
TABLE[0], TABLE[-1] = TABLE[0, 0], TABLE[-1, 0]


@nb.njit
def sent(directions: Any, source: Any, out: Any) -> None:
    for i in range(directions.shape[0]):
        store(out.ctypes.data + 64 * i, send(directions[i, 0], directions[i, 1], directions[i, 2], source))


def turned() -> np.ndarray:
    axes, _ = np.linalg.qr(np.random.default_rng(4).normal(size=(3, 3)))
    return np.ascontiguousarray(axes)


def directions(count: int) -> np.ndarray:
    ways = np.random.default_rng(6).normal(size=(count, 3))
    return ways / np.linalg.norm(ways, axis=1)[:, None]


def test_the_table_is_read_between_its_rows_and_columns() -> None:
    rotation, ways = turned(), np.vstack([directions(500), turned().T, -turned().T])
    found = np.empty((len(ways), 8))
    sent(ways, (np.zeros(3), rotation, TABLE, -1, -1, np.zeros(3)), found)
    local = ways @ rotation
    angle = np.arccos(np.clip(local[:, 0], -1.0, 1.0)) / np.pi * (POLAR - 1)
    turn = np.arctan2(local[:, 2], local[:, 1]) / (2.0 * np.pi) % 1.0 * AROUND
    closed = np.concatenate([TABLE, TABLE[:, :1]], axis=1)
    read = RegularGridInterpolator((np.arange(POLAR), np.arange(AROUND + 1)), closed)
    assert found == pytest.approx(4.0 * np.pi * read(np.column_stack([angle, turn])), rel=1e-12)


def test_nothing_goes_behind_the_wall_it_is_built_into() -> None:
    ways, wall = directions(400), np.array([0.6, 0.0, 0.8])
    found, free = np.empty((400, 8)), np.empty((400, 8))
    sent(ways, (np.zeros(3), turned(), TABLE, -1, 7, wall), found)
    sent(ways, (np.zeros(3), turned(), TABLE, -1, -1, np.zeros(3)), free)
    before = ways @ wall > 0.0
    assert np.array_equal(found[before], free[before])
    assert found[~before].max() == 0.0
    assert 100 < np.count_nonzero(before) < 300
