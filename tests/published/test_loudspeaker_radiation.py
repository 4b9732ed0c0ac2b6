"""Radiation of drivers against values that handbooks and standards give or define in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import j1

from sim.loudspeakers.catalogue import Design, generic_loudspeaker
from sim.loudspeakers.pistons import driver_in_wall, piston_directivity
from tests.loudspeakers.cap import cap_directivity, cap_series

SPEED = 343.2


def index_db(directivity: np.ndarray, cosines: np.ndarray, weights: np.ndarray) -> float:
    """Directivity index re full space from a pattern that is 1 on the axis."""
    return float(-10.0 * np.log10(0.5 * weights @ np.abs(directivity) ** 2))


@pytest.mark.parametrize("ka", [0.1, 0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 10.0, 20.0])
def test_a_piston_in_a_baffle_has_the_index_of_the_handbooks(ka: float) -> None:
    """Q = (ka)^2/(1 - J1(2 ka)/(ka)), Beranek & Mellow, Acoustics (2012): 3 dB in the bass, 20 lg(ka) in the treble."""
    frequency = ka * SPEED / (2.0 * math.pi * 0.05)
    nodes, weights = np.polynomial.legendre.leggauss(300)
    half, fraction = 0.5 * (nodes + 1.0), 0.5 * weights
    found = index_db(driver_in_wall(0.05, half, [frequency], SPEED)[:, 0], half, fraction)
    assert found == pytest.approx(10.0 * math.log10(ka**2 / (1.0 - j1(2.0 * ka) / ka)), abs=1e-3)
    if ka == 0.1:
        assert found == pytest.approx(3.01, abs=0.01)
    if ka >= 10.0:
        assert found == pytest.approx(20.0 * math.log10(ka), abs=0.05)


@pytest.mark.parametrize(("kr", "floor_db", "ceiling_db"), [(0.01, -0.01, 0.01), (0.3, 0.0, 0.5), (30.0, 2.9, 3.6)])
def test_a_small_source_on_a_sphere_goes_from_full_to_half_space(kr: float, floor_db: float, ceiling_db: float) -> None:
    """The baffle step of 6 dB in pressure on the axis, 3 dB in directivity (Morse & Ingard 1968)."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    pressure = cap_series(0.0, np.append(nodes, 1.0), [kr])[:, 0]
    found = index_db(pressure[:-1] / pressure[-1], nodes, weights)
    assert floor_db <= found <= ceiling_db


def test_the_step_of_a_baffle_is_six_decibels() -> None:
    """Pressure on the axis relative to the same source in the open: 1 in the bass, 2 in the treble.

    On a sphere it is |sum (2n+1) j^n/h_n'(kR)|/(kR)^2 times that of a source in the open (Morse & Ingard 1968);
    `cap_series` counts in 1/h_0, whose size is kR.
    """
    for kr, step_db in ((0.02, 0.0), (60.0, 6.02)):
        pressure = abs(cap_series(0.0, [1.0], [kr])[0, 0]) * kr
        assert 20.0 * math.log10(pressure / kr**2) == pytest.approx(step_db, abs=0.25)


@pytest.mark.parametrize("off_deg", [20.0, 60.0, 80.0])
def test_the_delay_round_a_sphere_is_three_radii_in_the_bass(off_deg: float) -> None:
    """Kuhn, J. Acoust. Soc. Am. 62 (1977) 157-167: between opposite points of a rigid sphere sound differs by
    3 (R/c) sin(incidence) in phase at low frequencies, half as much again as without the sphere.

    By reciprocity the same holds from a point on the sphere to two opposite directions.
    """
    kr = 0.05
    cosine = math.cos(math.radians(off_deg))
    toward, away = cap_series(0.0, [cosine, -cosine], [kr])[:, 0]
    assert np.angle(toward / away) == pytest.approx(3.0 * kr * cosine, rel=2e-3)


@pytest.mark.parametrize(("half_angle", "kr"), [(0.1, 1.0), (0.1, 10.0), (0.4, 2.0), (0.4, 20.0), (0.6, 10.0)])
def test_dulling_the_bright_spot_behind_takes_no_energy(half_angle: float, kr: float) -> None:
    """Directivity index of what is used against that of the plain series, both by rings over the sphere."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    plain = cap_series(half_angle, np.append(nodes, 1.0), [kr])[:, 0]
    used = cap_directivity(half_angle, nodes, [kr])[:, 0]
    assert index_db(used, nodes, weights) == pytest.approx(index_db(plain[:-1] / plain[-1], nodes, weights), abs=0.05)


@pytest.mark.parametrize(("radius_m", "frequency_hz", "null_deg"), [(0.0825, 5000.0, 30.49), (0.0125, 20000.0, 56.84)])
def test_a_piston_has_its_first_null_at_x_3_8317(radius_m: float, frequency_hz: float, null_deg: float) -> None:
    """The first zero of J1 (Kinsler et al., Fundamentals of Acoustics)."""
    level = piston_directivity(radius_m, [frequency_hz], [math.cos(math.radians(null_deg))], SPEED)[0, 0]
    assert abs(level) < 1e-3


# Lobes of two drivers at crossover: null at sin t = c/(2 d f), -6 dB at c/(3 d f), -3 dB at c/(4 d f)
# (Linkwitz, J. Audio Eng. Soc. 24 (1976) 2-8).
@pytest.mark.parametrize(
    ("spacing", "frequency", "null_deg", "half_deg", "three_deg"),
    [
        (0.15, 2000.0, 34.890, 22.416, 16.619),
        (0.15, 2500.0, 27.232, 17.762, 13.226),
        (0.15, 3000.0, 22.416, 14.728, 10.992),
        (0.17, 2500.0, 23.814, 15.615, 11.647),
        (0.20, 3000.0, 16.619, 10.992, 8.221),
        (0.10, 2000.0, 59.093, 34.890, 25.404),
    ],
)
def test_lobes_at_crossover(
    spacing: float, frequency: float, null_deg: float, half_deg: float, three_deg: float
) -> None:
    two_way = generic_loudspeaker(
        "two-way",
        Design(
            height_m=0.60,
            spacing_m=spacing,
            woofer_diameter_m=1e-4,
            tweeter_diameter_m=1e-4,
            crossovers_hz=(frequency,),
        ),
        flush=True,
    )
    for degrees, expected in ((null_deg, 0.0), (half_deg, 0.5), (three_deg, math.sqrt(0.5))):
        off = math.radians(degrees)
        upward, sideways = (math.cos(off), 0.0, math.sin(off)), (math.cos(off), math.sin(off), 0.0)
        level = np.abs(two_way.far_pressure([upward, sideways], [frequency], SPEED))[:, 0]
        assert level[0] == pytest.approx(expected, abs=2e-4)
        assert level[1] == pytest.approx(1.0, abs=1e-4)


def test_a_crossover_of_third_order_tilts_its_lobe() -> None:
    """Branches a quarter turn apart: the lobe points where the ways differ by a quarter wavelength."""
    two_way = generic_loudspeaker(
        "two-way",
        Design(
            height_m=0.60,
            spacing_m=0.15,
            woofer_diameter_m=1e-4,
            tweeter_diameter_m=1e-4,
            crossovers_hz=(2000.0,),
            slope_db_per_octave=18,
        ),
        flush=True,
    )
    off = np.radians(np.array([16.619, -16.619]))
    ways = np.column_stack([np.cos(off), 0.0 * off, np.sin(off)])
    level = np.sort(np.abs(two_way.far_pressure(ways, [2000.0], SPEED))[:, 0])
    assert level == pytest.approx([0.0, math.sqrt(2.0)], abs=1e-3)
