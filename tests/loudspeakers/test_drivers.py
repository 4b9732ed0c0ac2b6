import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import j1

from sim.loudspeakers.cap import cap_directivity
from sim.loudspeakers.drivers import driver_directivity, piston_directivity, sphere_radius_of, waveguide_radius

SPEED = 343.2


def piston_at(x: float) -> float:
    """The piston at a chosen k a sin(theta), sideways, for a radius of 50 mm."""
    frequency = x * SPEED / (2.0 * math.pi * 0.05)
    return float(piston_directivity(0.05, [frequency], [0.0], SPEED)[0, 0])


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
    mean_energy = 0.5 * np.mean(
        np.abs(driver_directivity(0.05, cosines, [frequency], SPEED, sphere_radius_m=None)) ** 2
    )
    assert -10.0 * math.log10(mean_energy) == pytest.approx(index_db, abs=0.002)


def test_piston_agrees_with_a_plain_loop() -> None:
    frequencies = [0.0, 31.0, 1000.0, 17000.0]
    cosines = [1.0, 0.9, 0.3, 0.0]
    fast = piston_directivity(0.0825, frequencies, cosines, SPEED)
    for row, cosine in enumerate(cosines):
        for column, frequency in enumerate(frequencies):
            x = 2.0 * math.pi * frequency / SPEED * 0.0825 * math.sqrt(1.0 - cosine**2)
            assert fast[row, column] == pytest.approx(2.0 * j1(x) / x if x > 0.0 else 1.0, abs=1e-12)


@settings(deadline=None)
@given(frequency=st.floats(20.0, 20000.0), radius=st.floats(0.0, 0.1), sphere=st.floats(0.1, 0.4))
def test_axis_is_one_and_ninety_degrees_has_no_step(frequency: float, radius: float, sphere: float) -> None:
    cosines = [1.0, 1e-7, 0.0, -1e-7]
    level = driver_directivity(radius, cosines, [frequency], SPEED, sphere_radius_m=sphere)[:, 0]
    assert level[0] == pytest.approx(1.0, abs=1e-12)
    assert level[1] == pytest.approx(level[2], abs=1e-4)
    assert level[3] == pytest.approx(level[2], abs=1e-4)


def test_a_driver_in_a_box_is_the_cap_of_its_size() -> None:
    cosines = np.cos([0.3, 1.2, 2.9])
    frequencies = np.array([200.0, 2000.0, 9000.0])
    expected = cap_directivity(math.asin(0.05 / 0.14), cosines, 2.0 * np.pi * frequencies * 0.14 / SPEED)
    found = driver_directivity(0.05, cosines, frequencies, SPEED, sphere_radius_m=0.14)
    assert found == pytest.approx(expected)


def test_a_cap_shrinks_only_where_it_bulges_too_far() -> None:
    """k R (1 - cos alpha) = 2: below that it is the cap of its size, above the cap of that height."""
    radius, sphere = 0.08, 0.17
    height = sphere - math.sqrt(sphere**2 - radius**2)
    limit_hz = 2.0 * SPEED / (2.0 * math.pi * height)
    cosines = np.cos([0.3, 0.9, 2.0])
    for frequency in (0.5 * limit_hz, 0.999 * limit_hz, 3.0 * limit_hz):
        kr = 2.0 * math.pi * frequency / SPEED * sphere
        alpha = min(math.asin(radius / sphere), math.acos(1.0 - 2.0 / kr))
        found = driver_directivity(radius, cosines, [frequency], SPEED, sphere_radius_m=sphere)
        assert found == pytest.approx(cap_directivity(alpha, cosines, [kr]))


def test_a_driver_wider_than_its_sphere_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit on a sphere"):
        driver_directivity(0.2, [1.0], [100.0], SPEED, sphere_radius_m=0.1)


def test_the_sphere_has_the_volume_of_the_box() -> None:
    radius = sphere_radius_of((0.18, 0.29, 0.23), 0.05)
    assert 4.0 / 3.0 * math.pi * radius**3 == pytest.approx(0.18 * 0.29 * 0.23)
    assert sphere_radius_of((0.4, 0.4, 0.02), 0.18) == 0.18


def test_a_waveguide_holds_its_coverage_where_its_mouth_is_large_enough() -> None:
    frequencies = np.array([500.0, 3000.0, 5000.0, 8000.0, 19000.0])
    radii = waveguide_radius(0.0125, 0.06, 90.0, frequencies, SPEED)
    assert radii[0] == 0.06
    assert np.all(np.diff(radii) <= 0.0)
    assert radii[-1] >= 0.0125
    half_way = math.cos(math.radians(45.0))
    level = piston_directivity(radii, frequencies, [half_way], SPEED)[0]
    assert 20.0 * np.log10(level[1:4]) == pytest.approx(-6.02, abs=0.01)
    assert 20.0 * math.log10(level[0]) > -1.0
    # without a mouth of its own a driver stays what it is
    assert waveguide_radius(0.0125, 0.0, 90.0, frequencies, SPEED) == pytest.approx(0.0125)


def test_flush_driver_is_the_piston_and_holds_its_level_beyond_ninety_degrees() -> None:
    """A wall that faces elsewhere than the driver has directions before it that lie behind the driver's own plane."""
    cosines = np.array([0.8, 0.0, -0.01, -1.0])
    level = driver_directivity(0.0825, cosines, [500.0, 5000.0], SPEED, sphere_radius_m=None)
    assert level[:2] == pytest.approx(piston_directivity(0.0825, [500.0, 5000.0], cosines[:2], SPEED))
    assert level[2:] == pytest.approx(level[[1, 1]])


@settings(deadline=None, max_examples=60)
@given(sphere=st.floats(0.07, 0.4), fraction=st.floats(0.0, 1.0), frequency=st.floats(20.0, 20000.0))
def test_nothing_is_louder_than_the_axis(sphere: float, fraction: float, frequency: float) -> None:
    """The middle and the rim of a bulging cap may not cancel ahead, however wide a driver that plays alone is."""
    cosines = np.cos(np.radians(np.arange(0.0, 181.0, 1.0)))
    level = np.abs(driver_directivity(fraction * sphere, cosines, [frequency], SPEED, sphere_radius_m=sphere)[:, 0])
    assert 20.0 * math.log10(level.max()) < 1.0


def test_a_wide_driver_that_plays_alone_beams_like_a_piston() -> None:
    """Within 7 dB of the index of a piston as large, 20 lg(ka) in the treble (Beranek & Mellow 2012)."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    radius, sphere = 0.1, 0.184
    for frequency in (2000.0, 5000.0, 12000.0):
        energy = np.abs(driver_directivity(radius, nodes, [frequency], SPEED, sphere_radius_m=sphere)[:, 0]) ** 2
        index_db = -10.0 * math.log10(0.5 * weights @ energy)
        piston_db = 20.0 * math.log10(2.0 * math.pi * frequency / SPEED * radius)
        assert piston_db - 7.0 < index_db < piston_db + 1.0
