"""Slow twins: one frequency and one angle, from layer to layer by impedances and cotangents, nothing rearranged."""

from __future__ import annotations

import cmath
import math

from scipy.special import jn_zeros, jv

from sim.acoustics.air import Air
from sim.acoustics.layers import AirGap, BuildUp, Cloth, Membrane, PerforatedSheet, PorousLayer
from sim.acoustics.porous import porous_fluid
from sim.acoustics.resonators import end_correction, viscosity_pa_s

RIGID = 1e14
"""Pa s/m; stands for no movement at all."""


def impedance_written_out(build_up: BuildUp, frequency_hz: float, angle_rad: float, air: Air) -> complex:
    """Surface impedance by Z = Zn (Zb cos + j Zn sin)/(Zn cos + j Zb sin), one layer after another."""
    omega = 2.0 * math.pi * frequency_hz
    free = omega / air.speed_of_sound_m_s
    impedance = complex(build_up.backing.impedance_pa_s_m or RIGID)
    for layer in reversed(build_up.layers):
        if isinstance(layer, PorousLayer | AirGap):
            characteristic = complex(air.density_kg_m3 * air.speed_of_sound_m_s)
            wavenumber = complex(free)
            if isinstance(layer, PorousLayer):
                fluid = porous_fluid(layer.flow_resistivity_pa_s_m2, [frequency_hz], air, layer.model)
                characteristic, wavenumber = complex(fluid.impedance_pa_s_m[0]), complex(fluid.wavenumber_rad_m[0])
            inward = wavenumber
            if not layer.divided:
                inward = cmath.sqrt(wavenumber**2 - (free * math.sin(angle_rad)) ** 2)
            across = characteristic * wavenumber / inward
            cosine, sine = cmath.cos(inward * layer.thickness_m), cmath.sin(inward * layer.thickness_m)
            impedance = across * (impedance * cosine + 1j * across * sine) / (across * cosine + 1j * impedance * sine)
        elif isinstance(layer, Cloth):
            if layer.mass_kg_m2 is None:
                impedance += layer.flow_resistance_pa_s_m
            else:
                impedance += 1.0 / (1.0 / layer.flow_resistance_pa_s_m + 1.0 / (1j * omega * layer.mass_kg_m2))
        elif isinstance(layer, Membrane):
            impedance += layer.resistance_pa_s_m + 1j * omega * layer.mass_kg_m2
        else:
            impedance += perforated_by_bessel_functions(layer, frequency_hz, air)
    return impedance


def ends_in_diameters(open_share: float) -> float:
    """Both ends of a hole as a piston in the middle of a round tube (Karal, J. Acoust. Soc. Am. 25 (1953) 327).

    4/xi times the sum of J1^2(q xi)/(q^3 J0^2(q)) over the zeros q of J1, xi^2 the open share; 8/(3 pi) for a hole
    alone.  Another way to the same thing than Fok's function, which lets the air move as it will in the hole.
    """
    root, zeros = math.sqrt(open_share), jn_zeros(1, 3000)
    series = jv(1, zeros * root) ** 2 / (zeros**3 * jv(0, zeros) ** 2)
    return float(4.0 / root * series.sum())


def perforated_by_bessel_functions(sheet: PerforatedSheet, frequency_hz: float, air: Air) -> complex:
    """Crandall's exact tube, Z = j omega rho t/(1 - 2 J1(y)/(y J0(y))), y = x sqrt(-j), with ends added.

    The ends are those of `sim`, which have a test of their own.
    """
    omega = 2.0 * math.pi * frequency_hz
    viscosity = viscosity_pa_s(air)
    x = 0.5 * sheet.hole_diameter_m * math.sqrt(omega * air.density_kg_m3 / viscosity)
    y = x * cmath.sqrt(-1j)
    tube = 1j * omega * air.density_kg_m3 * sheet.thickness_m / (1.0 - 2.0 * jv(1, y) / (y * jv(0, y)))
    ends = 1j * omega * air.density_kg_m3 * end_correction(sheet.open_share) * sheet.hole_diameter_m
    friction_at_ends = math.sqrt(2.0) * viscosity * x / sheet.hole_diameter_m
    return complex((tube + ends + friction_at_ends) / sheet.open_share)


def reflection_written_out(build_up: BuildUp, frequency_hz: float, angle_rad: float, air: Air) -> complex:
    """R = (Z cos t - rho c)/(Z cos t + rho c)."""
    turned = impedance_written_out(build_up, frequency_hz, angle_rad, air) * math.cos(angle_rad)
    resistance = air.density_kg_m3 * air.speed_of_sound_m_s
    return (turned - resistance) / (turned + resistance)
