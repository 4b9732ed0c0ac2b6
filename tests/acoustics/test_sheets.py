"""Thin sheets: Maa's closed form against Crandall's exact tube, cloth that moves, limp mass."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.air import Air
from sim.acoustics.layers import Cloth, Membrane, PerforatedSheet
from sim.acoustics.resonators import end_correction, sheet_impedance, viscosity_pa_s
from tests.acoustics.layered_by_hand import perforated_by_bessel_functions

AIR = Air()
frequencies = st.floats(20.0, 20_000.0)


def test_viscosity_of_the_standard_atmosphere() -> None:
    # ISO 2533:1975: 1.7894e-5 Pa s at 15 C.
    assert viscosity_pa_s(Air(temperature_c=15.0)) == pytest.approx(1.7894e-5, rel=1e-4)


@given(
    thickness=st.floats(2e-4, 0.03),
    hole=st.floats(1e-4, 0.02),
    fraction=st.floats(0.005, 0.4),
    frequency=frequencies,
)
def test_holes_follow_the_exact_tube_within_six_percent(
    thickness: float, hole: float, fraction: float, frequency: float
) -> None:
    """Maa (1998) states his closed form to lie within 6 % of the tube with Bessel functions."""
    sheet = PerforatedSheet(thickness, hole, fraction)
    closed = complex(sheet_impedance(sheet, np.array([frequency]), AIR)[0])
    exact = perforated_by_bessel_functions(sheet, frequency, AIR)
    assert closed.real == pytest.approx(exact.real, rel=0.07)
    assert closed.imag == pytest.approx(exact.imag, rel=0.06)


def test_narrow_holes_resist_as_slow_flow_does() -> None:
    """32 eta t/(d^2 share): the resistance of a tube to steady flow (Hagen and Poiseuille)."""
    sheet = PerforatedSheet(0.001, 1e-4, 0.01)
    resistance = sheet_impedance(sheet, np.array([20.0]), AIR)[0].real
    assert resistance == pytest.approx(32.0 * viscosity_pa_s(AIR) * 0.001 / (1e-4**2 * 0.01), rel=0.01)


def test_wide_holes_weigh_what_their_plug_of_air_weighs() -> None:
    sheet = PerforatedSheet(0.012, 0.02, 0.1)
    omega = 2.0 * math.pi * 5000.0
    mass = sheet_impedance(sheet, np.array([5000.0]), AIR)[0].imag / omega
    assert mass == pytest.approx(AIR.density_kg_m3 * (0.012 + end_correction(0.1) * 0.02) / 0.1, rel=0.01)


@given(resistance=st.floats(1.0, 5000.0), mass=st.floats(0.01, 5.0), frequency=frequencies)
def test_moving_cloth_is_resistance_and_mass_side_by_side(resistance: float, mass: float, frequency: float) -> None:
    moving = complex(sheet_impedance(Cloth(resistance, mass), np.array([frequency]), AIR)[0])
    assert 1.0 / moving == pytest.approx(1.0 / resistance + 1.0 / (2j * math.pi * frequency * mass), rel=1e-9)
    held = complex(sheet_impedance(Cloth(resistance), np.array([frequency]), AIR)[0])
    assert held == resistance
    assert abs(moving) <= abs(held)


@given(mass=st.floats(0.01, 50.0), frequency=frequencies)
def test_membrane_is_a_limp_mass(mass: float, frequency: float) -> None:
    value = complex(sheet_impedance(Membrane(mass, 30.0), np.array([frequency]), AIR)[0])
    assert value == pytest.approx(30.0 + 2j * math.pi * frequency * mass)
