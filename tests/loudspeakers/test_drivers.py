import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import eval_legendre, j1, spherical_jn, spherical_yn

from sim.loudspeakers.drivers import (
    box_directivity,
    driver_directivity,
    piston_directivity,
    small_source_on_sphere,
)

SPEED = 343.2


def piston_at(x: float) -> float:
    """The piston at a chosen k a sin(theta), sideways, for a radius of 50 mm."""
    frequency = x * SPEED / (2.0 * math.pi * 0.05)
    return float(piston_directivity(0.05, [frequency], [0.0], SPEED)[0, 0])


def hankel_slope(n: int, x: float) -> complex:
    return complex(spherical_jn(n, x, derivative=True), -spherical_yn(n, x, derivative=True))


def sphere_written_out(theta: float, kr: float) -> complex:
    """Small source on a rigid sphere (Morse & Ingard 1968), term by term with scipy's own functions."""
    total = 0j
    for n in range(int(kr + 6.0 * kr ** (1.0 / 3.0) + 20.0)):
        slope = hankel_slope(n, kr)
        if not np.isfinite(slope):
            break
        total += 1j**n * (2 * n + 1) * eval_legendre(n, math.cos(theta)) / slope
    return total


def cap_written_out(theta: float, kr: float, half_angle: float) -> float:
    """Magnitude of a rigid cap on a rigid sphere (Morse & Ingard 1968; Beranek & Mellow 2012)."""
    edge = math.cos(half_angle)
    total = 0j
    for n in range(int(kr + 6.0 * kr ** (1.0 / 3.0) + 20.0)):
        slope = hankel_slope(n, kr)
        if not np.isfinite(slope):
            break
        stroke = 0.5 * (1.0 - edge) if n == 0 else 0.5 * (eval_legendre(n - 1, edge) - eval_legendre(n + 1, edge))
        total += 1j**n * stroke * eval_legendre(n, math.cos(theta)) / slope
    return abs(total)


# Beranek & Mellow, Acoustics (2012); Kinsler et al., Fundamentals of Acoustics: 2 J1(x)/x.
@pytest.mark.parametrize("x", [3.83171, 7.01559, 10.17347])
def test_piston_nulls(x: float) -> None:
    assert piston_at(x) == pytest.approx(0.0, abs=1e-5)


@pytest.mark.parametrize(("x", "level"), [(5.13562, -17.570), (8.41724, -23.811)])
def test_piston_side_lobes(x: float, level: float) -> None:
    assert 20.0 * math.log10(abs(piston_at(x))) == pytest.approx(level, abs=1e-3)
    assert abs(piston_at(x)) > max(abs(piston_at(x - 0.05)), abs(piston_at(x + 0.05)))


@pytest.mark.parametrize(("x", "level"), [(1.61634, -3.0103), (2.21509, -6.0206), (2.73138, -10.0)])
def test_piston_beam_edges(x: float, level: float) -> None:
    assert 20.0 * math.log10(piston_at(x)) == pytest.approx(level, abs=1e-3)


@pytest.mark.parametrize(
    ("radius_m", "frequency_hz", "degrees", "level"),
    [
        (0.0825, 2000.0, 30.0, -2.607),
        (0.0825, 2000.0, 60.0, -8.959),
        (0.0825, 2000.0, 47.16, -6.0206),
        (0.0125, 10000.0, 30.0, -1.463),
        (0.0125, 10000.0, 60.0, -4.685),
        (0.0125, 20000.0, 28.94, -6.0206),
    ],
)
def test_piston_of_real_sizes(radius_m: float, frequency_hz: float, degrees: float, level: float) -> None:
    value = piston_directivity(radius_m, [frequency_hz], [math.cos(math.radians(degrees))], SPEED)[0, 0]
    assert 20.0 * math.log10(value) == pytest.approx(level, abs=0.01)


@pytest.mark.parametrize(("ka", "index_db"), [(0.1, 3.018), (1.0, 3.734), (3.0, 9.159), (10.0, 20.029)])
def test_piston_directivity_index(ka: float, index_db: float) -> None:
    # (ka)^2/(1 - J1(2ka)/ka), Beranek & Mellow 2012; here by adding up the half space ring by ring.
    frequency = ka * SPEED / (2.0 * math.pi * 0.05)
    cosines = (np.arange(20000) + 0.5) / 20000
    mean_energy = 0.5 * np.mean(driver_directivity(0.05, cosines, [frequency], SPEED, sphere_radius_m=None) ** 2)
    assert -10.0 * math.log10(mean_energy) == pytest.approx(index_db, abs=0.002)


def test_piston_agrees_with_a_plain_loop() -> None:
    frequencies = [0.0, 31.0, 1000.0, 17000.0]
    cosines = [1.0, 0.9, 0.3, 0.0]
    fast = piston_directivity(0.0825, frequencies, cosines, SPEED)
    for row, cosine in enumerate(cosines):
        for column, frequency in enumerate(frequencies):
            x = 2.0 * math.pi * frequency / SPEED * 0.0825 * math.sqrt(1.0 - cosine**2)
            assert fast[row, column] == pytest.approx(2.0 * j1(x) / x if x > 0.0 else 1.0, abs=1e-12)


@pytest.mark.parametrize("kr", [0.1, 1.0, 5.0, 20.0, 60.0])
def test_sphere_series_agrees_with_scipy(kr: float) -> None:
    angles = np.array([0.0, 0.7, 1.6, 2.4, 3.1])
    fast = small_source_on_sphere(np.cos(angles), [kr])[:, 0]
    slow = np.array([sphere_written_out(angle, kr) for angle in angles])
    assert fast / fast[0] == pytest.approx(slow / slow[0], abs=1e-10)


def test_sphere_series_stands_large_boxes() -> None:
    magnitude = np.abs(small_source_on_sphere([1.0, 0.7, 0.0, -1.0], [0.02, 100.0, 130.0]))
    assert np.all(np.isfinite(magnitude))
    # Lit side by rays: the same as straight ahead; small sphere: the same all round.
    assert magnitude[1, 1:] == pytest.approx(magnitude[0, 1:], rel=0.01)
    assert magnitude[:, 0] == pytest.approx(magnitude[0, 0], rel=1e-3)


@pytest.mark.parametrize("kr", [0.3, 2.0, 7.3, 31.1])
def test_box_directivity_is_the_averaged_sphere(kr: float) -> None:
    def averaged(degrees: float) -> float:
        total = weight = 0.0
        for step in range(-40, 41):
            angle = math.radians(degrees + 0.5 * step)
            ring = abs(math.sin(angle))
            total += ring * abs(sphere_written_out(angle, kr)) ** 2
            weight += ring
        return math.sqrt(total / weight)

    for degrees in (30.0, 90.0, 135.0, 180.0):
        expected = averaged(degrees) / averaged(0.0)
        assert box_directivity([math.cos(math.radians(degrees))], [kr])[0, 0] == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize(
    ("radius_m", "box_width_m", "frequency_hz"),
    [
        (0.0525, 0.18, 400.0),
        (0.0525, 0.18, 800.0),
        (0.0525, 0.18, 2200.0),
        (0.0125, 0.18, 2500.0),
        (0.0125, 0.18, 5000.0),
        (0.1025, 0.29, 450.0),
    ],
)
def test_driver_in_a_box_is_near_the_exact_cap(radius_m: float, box_width_m: float, frequency_hz: float) -> None:
    sphere_m = 0.5 * box_width_m
    kr = 2.0 * math.pi * frequency_hz / SPEED * sphere_m
    half_angle = math.asin(radius_m / sphere_m)
    ahead = cap_written_out(0.0, kr, half_angle)
    for degrees, tolerance_db in [(20, 0.6), (45, 0.6), (75, 0.6), (90, 1.5), (120, 3.5)]:
        angle = math.radians(degrees)
        exact_db = 20.0 * math.log10(cap_written_out(angle, kr, half_angle) / ahead)
        model = driver_directivity(radius_m, [math.cos(angle)], [frequency_hz], SPEED, sphere_radius_m=sphere_m)
        assert 20.0 * math.log10(abs(model[0, 0])) == pytest.approx(exact_db, abs=tolerance_db)


def test_low_frequencies_go_all_round() -> None:
    cosines = np.linspace(-1.0, 1.0, 41)
    level = driver_directivity(0.0525, cosines, [20.0, 50.0], SPEED, sphere_radius_m=0.09)
    assert level == pytest.approx(1.0, abs=0.005)


@settings(deadline=None)
@given(
    frequency=st.floats(20.0, 20000.0),
    radius=st.floats(0.0, 0.1),
    width=st.floats(0.1, 0.7),
)
def test_axis_is_one_and_ninety_degrees_has_no_step(frequency: float, radius: float, width: float) -> None:
    cosines = [1.0, 1e-7, 0.0, -1e-7]
    level = driver_directivity(radius, cosines, [frequency], SPEED, sphere_radius_m=0.5 * width)[:, 0]
    assert level[0] == pytest.approx(1.0, abs=1e-12)
    assert level[1] == pytest.approx(level[2], abs=1e-5)
    assert level[3] == pytest.approx(level[2], abs=1e-5)
    assert np.all(np.abs(level) <= 1.0 + 1e-9)


def test_treble_fades_behind_the_box() -> None:
    degrees = np.array([0.0, 45.0, 90.0, 120.0, 150.0])
    level = driver_directivity(0.0125, np.cos(np.radians(degrees)), [8000.0], SPEED, sphere_radius_m=0.09)
    assert np.all(np.diff(level[:, 0]) < 0.0)
    assert 20.0 * math.log10(level[-1, 0]) < -15.0


def test_flush_driver_is_the_piston_and_silent_behind() -> None:
    cosines = np.array([0.8, 0.0, -0.01, -1.0])
    level = driver_directivity(0.0825, cosines, [500.0, 5000.0], SPEED, sphere_radius_m=None)
    assert level[:2] == pytest.approx(piston_directivity(0.0825, [500.0, 5000.0], cosines[:2], SPEED))
    assert np.all(level[2:] == 0.0)
