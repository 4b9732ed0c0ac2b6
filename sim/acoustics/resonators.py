"""Thin sheets and what they are tuned to: impedance of cloth, perforated sheets and membranes, and resonances."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from sim.acoustics.air import Air
from sim.acoustics.bands import octave_bands
from sim.acoustics.layers import AirGap, BuildUp, Cloth, Membrane, PerforatedSheet, PorousLayer
from sim.arrays import ComplexArray, FloatArray

SUTHERLAND_PA_S_SQRT_K: Final = 1.458e-6
SUTHERLAND_K: Final = 110.4
"""Constants of the dynamic viscosity of air, 1.458e-6 T^(3/2)/(T + 110.4) (ISO 2533:1975, standard atmosphere)."""

END_CORRECTION: Final = 0.85
"""Both ends of a hole alone in a wide sheet together, in diameters: 8/(3 pi) (Rayleigh; Kuttruff, Room Acoustics)."""

FOK: Final = (
    1.0,
    -1.40925,
    0.0,
    0.33818,
    0.0,
    0.06793,
    -0.02287,
    0.03015,
    -0.01641,
    0.01729,
    -0.01248,
    0.01205,
    -0.00985,
)
"""Series in the root of the open share (Fok, Doklady AN SSSR 31 (1941); Melling, J. Sound Vib. 29 (1973) 1-65)."""


def end_correction(open_share: float) -> float:
    """Both ends of a hole among others together, in diameters: 8/(3 pi) times a factor for what near holes share.

    The factor is 1 for a hole alone, and 0 where there is no sheet left: the inverse of Fok's function at the root of
    the open share, a hole in the middle of a round tube that stands for the hole's part of a regular grid (Melling).
    The series leaves -0.005 at 1, which is taken as 0.
    """
    root = float(np.sqrt(open_share))
    return END_CORRECTION * max(float(np.polynomial.polynomial.polyval(root, FOK)), 0.0)


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
    m = rho t (1 + 1/sqrt(9 + x^2/2) + e d/t), Z = (r + j omega m)/open share, e by `end_correction`.  With 9
    (Maa 1975) the mass of slow flow is the exact 4/3.  Neglected: wool close behind, levels at which the air in the
    holes whirls, and the movement of the sheet.
    """
    viscosity, density = viscosity_pa_s(air), air.density_kg_m3
    diameter, thickness = layer.hole_diameter_m, layer.thickness_m
    x = diameter * np.sqrt(omega * density / (4.0 * viscosity))
    slow = 32.0 * viscosity * thickness / diameter**2
    resistance = slow * (np.sqrt(1.0 + x**2 / 32.0) + np.sqrt(2.0) / 32.0 * x * diameter / thickness)
    mass = (
        density
        * thickness
        * (1.0 + 1.0 / np.sqrt(9.0 + x**2 / 2.0) + end_correction(layer.open_share) * diameter / thickness)
    )
    holes: ComplexArray = (resistance + 1j * omega * mass) / layer.open_share
    return holes


def lost_through(sheet: PerforatedSheet, air: Air) -> tuple[float, ...]:
    """Absorption coefficients (8,), octaves 63 Hz to 8 kHz, of a perforated sheet with open air on both sides.

    R = Z cos(angle) / (Z cos(angle) + 2 rho c): what is behind is air again, in series with the holes (Kuttruff, Room
    Acoustics, on walls with a reactance; from memory).  Mean over random incidence (Paris 1928).  What goes through is
    lost with what rubs in the holes; that it may come back from the floor is neglected.
    """
    exact = octave_bands(63, 8000).exact_hz
    impedance = sheet_impedance(sheet, exact, air)
    angles = np.radians(np.arange(0.5, 90.0))
    across = impedance[:, None] * np.cos(angles)
    factor = across / (across + 2.0 * air.density_kg_m3 * air.speed_of_sound_m_s)
    weights = np.sin(2.0 * angles)
    taken = ((1.0 - np.abs(factor) ** 2) * weights).sum(axis=1) / weights.sum()
    return tuple(float(value) for value in taken)


# What an absorber is tuned to, in closed form: membranes and perforated sheets before a gap, and wool off a wall.
#
# Pressure absorbers (membranes, perforated sheets) want to be where pressure is highest, at the wall; velocity
# absorbers (wool) want to be a quarter wavelength off it.

MEMBRANE_RULE: Final = 60.0
"""f0 = 60/sqrt(m d), the rounded form for air at 20 C (Cox & D'Antonio; Kuttruff, Room Acoustics)."""


@dataclass(frozen=True)
class Tuning:
    """What a build-up is tuned to; `depth_m` is that of the spring behind the mass, or from the wall to the face."""

    kind: Literal["membrane", "perforated sheet", "porous layer"]
    frequency_hz: float
    depth_m: float
    sentence: str


def membrane_resonance_hz(mass_kg_m2: float, gap_m: float, air: Air, *, filled: bool = False) -> float:
    """f0 = (c/2 pi) sqrt(rho/(m d)) in Hz, 60/sqrt(m d) at 20 C (Cox & D'Antonio; Kuttruff).

    `filled`: wool in the gap keeps its air at one temperature, so that the spring is softer by the ratio of specific
    heats: (1/2 pi) sqrt(P/(m d)), 50.7/sqrt(m d).  Raises ValueError for a mass or a gap that is not above zero.
    """
    _check(mass_kg_m2=mass_kg_m2, gap_m=gap_m)
    return float(np.sqrt(_modulus_pa(air, filled) / (gap_m * mass_kg_m2)) / (2.0 * np.pi))


def perforated_resonance_hz(sheet: PerforatedSheet, gap_m: float, air: Air, *, filled: bool = False) -> float:
    """f0 = (c/2 pi) sqrt(eps/(t' d)) in Hz, t' = t + e hole diameters (Cox & D'Antonio; Kuttruff).

    e is that of `end_correction`.

    `filled` as for a membrane: lower by the root of the ratio of specific heats.  The gap is taken as short against the
    wavelength.  Raises ValueError for a gap that is not above zero.
    """
    _check(gap_m=gap_m)
    length = sheet.thickness_m + end_correction(sheet.open_share) * sheet.hole_diameter_m
    mass_kg_m2 = air.density_kg_m3 * length / sheet.open_share
    return float(np.sqrt(_modulus_pa(air, filled) / (gap_m * mass_kg_m2)) / (2.0 * np.pi))


def quarter_wave_hz(distance_m: float, air: Air) -> float:
    """c/(4 x) in Hz: where a distance x from a rigid wall is a quarter wavelength and air moves most (Kuttruff).

    Raises ValueError for a distance that is not above zero.
    """
    _check(distance_m=distance_m)
    return air.speed_of_sound_m_s / (4.0 * distance_m)


def tuning(build_up: BuildUp, air: Air) -> Tuning | None:
    """Say what the frontmost membrane or perforated sheet with air or wool behind it is tuned to, else the wool.

    None for a build-up that has neither.  Only the first mass and the spring up to the next sheet are looked at.
    """
    layers = build_up.layers
    for place, layer in enumerate(layers):
        if not isinstance(layer, Membrane | PerforatedSheet):
            continue
        depth, filled = 0.0, False
        for behind in layers[place + 1 :]:
            if isinstance(behind, Membrane | PerforatedSheet):
                break
            if isinstance(behind, PorousLayer | AirGap):
                depth += behind.thickness_m
                filled = filled or isinstance(behind, PorousLayer)
        if depth > 0.0:
            return _mass_on_spring(layer, depth, filled, air)
    if not any(isinstance(layer, PorousLayer) for layer in layers):
        return None
    front = next(place for place, layer in enumerate(layers) if isinstance(layer, PorousLayer))
    depth = sum(
        layer.thickness_m for layer in layers[front:] if not isinstance(layer, Cloth | Membrane | PerforatedSheet)
    )
    frequency = quarter_wave_hz(depth, air)
    return Tuning(
        "porous layer",
        frequency,
        depth,
        f"Its face stands {1000 * depth:.0f} mm off the wall, a quarter wavelength at {frequency:.0f} Hz: wool works "
        "from about there up, and less and less below.",
    )


def _mass_on_spring(layer: Membrane | PerforatedSheet, depth: float, filled: bool, air: Air) -> Tuning:
    if isinstance(layer, Membrane):
        frequency = membrane_resonance_hz(layer.mass_kg_m2, depth, air, filled=filled)
        kind: Literal["membrane", "perforated sheet"] = "membrane"
        words = f"A membrane of {layer.mass_kg_m2:g} kg/m2"
    else:
        frequency, kind = perforated_resonance_hz(layer, depth, air, filled=filled), "perforated sheet"
        words = f"A sheet with {100 * layer.open_share:.3g} % open area"
    spring = "filled with wool" if filled else "of air"
    return Tuning(
        kind,
        frequency,
        depth,
        f"{words} on {1000 * depth:.0f} mm {spring} is tuned to about {frequency:.0f} Hz: a pressure absorber, which "
        "belongs at a wall and does little for reflections far above that.",
    )


def _modulus_pa(air: Air, filled: bool) -> float:
    """Stiffness of air that keeps its heat, rho c^2, or of air that wool keeps at one temperature, its pressure."""
    return 1000.0 * air.pressure_kpa if filled else air.density_kg_m3 * air.speed_of_sound_m_s**2


def _check(**lengths: float) -> None:
    for name, value in lengths.items():
        if not value > 0.0:
            raise ValueError(f"{name} is {value:g}; give a value above zero")
