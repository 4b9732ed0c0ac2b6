"""Air and panels as kernels take them, against NumPy and the columns of `sim.propagation.energy.boundaries`."""

from __future__ import annotations

from typing import Any

import numba as nb
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.propagation.energy.boundaries import boundaries_of, boundary_of_points
from sim.propagation.energy.leg_kernels import boundary_at, faded
from sim.rays.lanes import load_doubles, store
from tests.propagation.energy.test_tracer_kernels import furnished


@nb.njit
def fade(rates: Any, metres: Any, out: Any) -> None:
    store(out.ctypes.data, faded(load_doubles(rates.ctypes.data), rates.max(), metres))


@nb.njit
def boundaries_at(facets: Any, planes: Any, points: Any, count: Any, first_panel: Any, panels: Any, out: Any) -> None:
    first_at, panels_at = first_panel.ctypes.data, panels.ctypes.data
    for i in range(facets.shape[0]):
        out[i] = boundary_at(facets[i], planes[i], points[i, 0], points[i, 1], points[i, 2], count, first_at, panels_at)


@settings(deadline=None, max_examples=300)
@given(st.lists(st.floats(0.0, 0.3), min_size=8, max_size=8), st.floats(0.0, 40.0))
def test_air_takes_what_the_exponential_says(rates: list[float], metres: float) -> None:
    """40 m at 0.3 per metre: ten times what air takes at 8 kHz, and 52 dB."""
    out = np.empty(8)
    fade(np.array(rates), metres, out)
    expected = np.exp(-np.array(rates) * metres)
    assert out == pytest.approx(expected, rel=0.0, abs=1e-13)
    # a series with one term less, or one halving less, is off by a thousand times as much
    nepers = np.maximum(np.array(rates) * metres, 1.0)
    assert np.abs(out / expected - 1.0) == pytest.approx(np.zeros(8), abs=2e-13 * nepers.max())


def test_no_air_and_no_way_take_nothing() -> None:
    out = np.empty(8)
    for rates, metres in ((np.zeros(8), 35.0), (np.full(8, 0.02), 0.0)):
        fade(rates, metres, out)
        assert out.tolist() == [1.0] * 8


def test_panels_are_met_where_they_hang() -> None:
    """Points all over a room's surfaces; about one in a hundred falls on the panel."""
    built = furnished()
    boundaries, draw = boundaries_of(built), np.random.default_rng(5)
    triangles = draw.integers(len(built.room.triangles), size=4000)
    fractions = draw.dirichlet(np.ones(3), size=len(triangles))
    points = np.einsum("nc,ncd->nd", fractions, built.room.triangles[triangles])
    facets = built.room.facet_of_triangle[triangles]
    planes, found = built.room.arrays.plane[facets], np.empty(len(facets), np.int64)
    boundaries_at(facets, planes, points, len(built.room.facets), boundaries.first_panel, boundaries.panels, found)
    assert np.array_equal(found, boundary_of_points(built, boundaries, facets, points))
    assert 20 < np.count_nonzero(found == len(built.room.facets)) < 800
