"""Shares of panels against the quadrature of each alone, and against what is known of edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.patches import fraction_of_panel, panel_on_wall_axes
from sim.placement.panels import PlacedPanel
from sim.propagation.surfaces.incidence import Incidences
from sim.propagation.surfaces.kernels import add_turned
from sim.propagation.surfaces.panel_fractions import _faded, fading, fractions_of_polygons

SPEED = 343.2
DENSE = np.concatenate([[1.0], np.arange(1.0, 1878.0, 3.0) * 11.71875])
FEW = np.geomspace(63.0, 16000.0, 32)


def panel_of(corners: list[tuple[float, float]]) -> PlacedPanel:
    """A panel on the floor, told by (depth, across)."""
    points = np.array([(x, y, 0.0) for x, y in corners])
    return PlacedPanel("p", "floor", "m", "", 0, 0, points, np.array([0.0, 0.0, 1.0]), 0.1, False)


def rectangle(depth: tuple[float, float], across: tuple[float, float]) -> PlacedPanel:
    (x0, x1), (y0, y1) = depth, across
    return panel_of([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def incidence(angle_deg: float, turn_deg: float, before_m: float, after_m: float) -> Incidences:
    """One incidence at the origin with a ray that comes down at an angle to the normal, from a side."""
    angle, turn = np.radians([angle_deg, turn_deg])
    ray = np.array([np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn), -np.cos(angle)])
    return Incidences(
        np.array([0]),
        np.array([0]),
        np.zeros((1, 3)),
        ray[None],
        np.array([np.cos(angle)]),
        np.array([before_m]),
        np.array([after_m]),
    )


def panel_fractions(panel: PlacedPanel, one: Incidences, frequencies: np.ndarray, speed: float) -> np.ndarray:
    """What `fractions_of_polygons` says of a panel about its reflection point."""
    axes = panel_on_wall_axes(panel.corners_m, one.point[0], one.arriving[0], panel.normal)[0]
    corners = axes * np.array([one.cosine[0], 1.0])
    stretch = 0.5 * (1.0 / one.before_m + 1.0 / one.after_m)
    return fractions_of_polygons(corners[None], stretch, 2.0 * np.pi * np.maximum(frequencies, 1.0) / speed)


def slow_fraction(panel: PlacedPanel, one: Incidences, frequencies: np.ndarray) -> np.ndarray:
    """The same by the quadrature of `acoustics.patches`, with axes worked out by hand."""
    ray = one.arriving[0]
    sideways = np.array([ray[0], ray[1]])
    along = sideways / np.linalg.norm(sideways) if np.linalg.norm(sideways) > 1e-9 else np.array([1.0, 0.0])
    across = np.array([-along[1], along[0]])
    flat = panel.corners_m[:, :2] @ np.column_stack([along, across])
    return fraction_of_panel(
        flat, float(one.before_m[0]), float(one.after_m[0]), float(one.cosine[0]), frequencies, SPEED
    )


places = st.floats(-2.0, 2.0)


@given(
    depth=places,
    across=places,
    size=st.tuples(st.floats(0.05, 2.0), st.floats(0.05, 2.0)),
    angle=st.floats(0.0, 80.0),
    turn=st.floats(0.0, 360.0),
    before=st.floats(0.2, 6.0),
    after=st.floats(0.2, 6.0),
)
def test_fraction_is_that_of_the_quadrature(
    depth: float, across: float, size: tuple[float, float], angle: float, turn: float, before: float, after: float
) -> None:
    panel = rectangle((depth, depth + size[0]), (across, across + size[1]))
    one = incidence(angle, turn, before, after)
    dense = panel_fractions(panel, one, DENSE, SPEED)[0]
    assert dense == pytest.approx(slow_fraction(panel, one, DENSE), abs=1e-3)
    few = panel_fractions(panel, one, FEW, SPEED)[0]
    assert few == pytest.approx(slow_fraction(panel, one, FEW), abs=3e-5)


@pytest.mark.parametrize("offset", [0.0, 1e-12, 1e-7, -1e-7, 1e-4])
def test_mirror_point_at_a_corner_and_on_an_edge(offset: float) -> None:
    """A quarter and a half of a large panel, however near (Sommerfeld's half plane: 1/2 on the border of shadow)."""
    one = incidence(0.0, 0.0, 1.0, 1.0)
    corner = panel_fractions(rectangle((offset, 30.0), (offset, 30.0)), one, FEW, SPEED)[0]
    edge = panel_fractions(rectangle((offset, 30.0), (-30.0, 30.0)), one, FEW, SPEED)[0]
    assert corner == pytest.approx(np.full(len(FEW), 0.25), abs=0.02)
    assert edge == pytest.approx(np.full(len(FEW), 0.5), abs=0.02)


def test_whole_far_and_order_of_corners() -> None:
    one = incidence(40.0, 30.0, 1.5, 2.0)
    corners = [(-30.0, -30.0), (30.0, -30.0), (30.0, 30.0), (-30.0, 30.0)]
    whole = panel_fractions(panel_of(corners), one, FEW, SPEED)[0]
    assert whole == pytest.approx(np.ones(len(FEW)), abs=0.06)
    assert panel_fractions(panel_of(corners[::-1]), one, FEW, SPEED)[0] == pytest.approx(whole, abs=1e-12)
    far = np.abs(panel_fractions(rectangle((4.0, 4.6), (-0.3, 0.3)), one, FEW, SPEED)[0])
    assert far.max() < 0.05
    assert far[FEW > 4000.0].max() < 0.01


def test_halves_add_up() -> None:
    """A panel cut in two has the shares of its parts, also where the cut goes through the mirror point."""
    one = incidence(55.0, 200.0, 0.9, 2.2)
    parts = [rectangle((-0.4, 0.0), (-0.2, 0.5)), rectangle((0.0, 0.7), (-0.2, 0.5))]
    whole = panel_fractions(rectangle((-0.4, 0.7), (-0.2, 0.5)), one, DENSE, SPEED)
    added = sum(panel_fractions(part, one, DENSE, SPEED) for part in parts)
    assert added == pytest.approx(whole, abs=2e-3)


def test_the_table_of_the_slow_integral_holds_it_everywhere() -> None:
    scaled = np.geomspace(1e-6, 500.0, 83)
    values = _faded(scaled[:, None], scaled[None, :])
    assert np.abs(values - fading(scaled[:, None], scaled[None, :])).max() < 1e-4


def test_a_panel_with_its_corner_on_the_mirror_point_has_a_quarter() -> None:
    corners = np.array([[[0.0, 0.0], [50.0, 0.0], [50.0, 50.0], [0.0, 50.0]]])
    assert abs(fractions_of_polygons(corners, np.ones(1), np.array([100.0]))[0, 0] - 0.25) < 1e-2


@pytest.mark.parametrize("wavenumber", [np.arange(1.0, 400.0) * 0.2, np.geomspace(1.0, 300.0, 150)])
def test_turning_smooth_parts_is_multiplying_by_a_phase(wavenumber: np.ndarray) -> None:
    rng = np.random.default_rng(3)
    smooth = rng.normal(size=(2, 3, 8)) + 1j * rng.normal(size=(2, 3, 8))
    smooth[1, 2] = 0.0
    delay = rng.uniform(0.0, 9.0, (2, 3))
    below, part = rng.integers(0, 7, len(wavenumber)), rng.uniform(size=len(wavenumber))
    total = np.zeros((2, len(wavenumber)), dtype=np.complex128)
    steps = np.diff(wavenumber)[1:]
    add_turned(total, smooth, delay, wavenumber, below, part, bool(np.ptp(steps) < 1e-9))
    values = smooth[:, :, below] * (1.0 - part) + smooth[:, :, below + 1] * part
    slow = (values * np.exp(-1j * delay[:, :, None] * wavenumber)).sum(axis=1)
    assert np.abs(total - slow).max() < 1e-11
