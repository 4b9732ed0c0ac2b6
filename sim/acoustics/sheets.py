"""Impedance of thin sheets, which are added to whatever lies behind them: cloth, perforated sheets, membranes."""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.acoustics.air import Air
from sim.acoustics.layers import Cloth, Membrane, PerforatedSheet
from sim.arrays import ComplexArray, FloatArray

SUTHERLAND_PA_S_SQRT_K: Final = 1.458e-6
SUTHERLAND_K: Final = 110.4
"""Constants of the dynamic viscosity of air, 1.458e-6 T^(3/2)/(T + 110.4) (ISO 2533:1975, standard atmosphere)."""

END_CORRECTION: Final = 0.85
"""Both ends of a hole in a wide sheet together, in diameters: 8/(3 pi) (Rayleigh; Kuttruff, Room Acoustics)."""


def viscosity_pa_s(air: Air) -> float:
    """Dynamic viscosity of air in Pa s: 1.458e-6 T^(3/2)/(T + 110.4) (ISO 2533:1975)."""
    kelvin = air.temperature_k
    return float(SUTHERLAND_PA_S_SQRT_K * kelvin**1.5 / (kelvin + SUTHERLAND_K))


def sheet_impedance(layer: Cloth | PerforatedSheet | Membrane, frequencies_hz: FloatArray, air: Air) -> ComplexArray:
    """Difference of pressure over normal velocity, in Pa s/m, shape (f,); the same at every angle."""
    omega = 2.0 * np.pi * frequencies_hz
    if isinstance(layer, Cloth):
        return _cloth_impedance(layer, omega)
    if isinstance(layer, PerforatedSheet):
        return _perforated_impedance(layer, omega, air)
    return np.asarray(layer.resistance_pa_s_m + 1j * omega * layer.mass_kg_m2, dtype=np.complex128)


def _cloth_impedance(layer: Cloth, omega: FloatArray) -> ComplexArray:
    resistance = layer.flow_resistance_pa_s_m
    if layer.mass_kg_m2 is None:
        return np.full(omega.shape, complex(resistance))
    inertia = np.asarray(1j * omega * layer.mass_kg_m2, dtype=np.complex128)
    moving: ComplexArray = resistance * inertia / (resistance + inertia)
    return moving


def _perforated_impedance(layer: PerforatedSheet, omega: FloatArray, air: Air) -> ComplexArray:
    """Round holes by the closed approximation of Maa, J. Acoust. Soc. Am. 104 (1998) 2861-2866.

    x = d sqrt(omega rho/(4 eta)), r = 32 eta t/d^2 (sqrt(1 + x^2/32) + sqrt(2)/32 x d/t),
    m = rho t (1 + 1/sqrt(9 + x^2/2) + 0.85 d/t), Z = (r + j omega m)/open share.  With 9 (Maa 1975) the mass of slow
    flow is the exact 4/3.  Neglected: that near holes share the air at their ends (which takes up to a third of
    the end correction away at 10 % open), wool close behind, levels at which the air in the holes whirls, and the
    movement of the sheet.
    """
    viscosity, density = viscosity_pa_s(air), air.density_kg_m3
    diameter, thickness = layer.hole_diameter_m, layer.thickness_m
    x = diameter * np.sqrt(omega * density / (4.0 * viscosity))
    slow = 32.0 * viscosity * thickness / diameter**2
    resistance = slow * (np.sqrt(1.0 + x**2 / 32.0) + np.sqrt(2.0) / 32.0 * x * diameter / thickness)
    mass = density * thickness * (1.0 + 1.0 / np.sqrt(9.0 + x**2 / 2.0) + END_CORRECTION * diameter / thickness)
    holes: ComplexArray = (resistance + 1j * omega * mass) / layer.open_share
    return holes
