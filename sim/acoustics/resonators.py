"""What an absorber is tuned to, in closed form: membranes and perforated sheets before a gap, and wool off a wall.

Pressure absorbers (membranes, perforated sheets) want to be where pressure is highest, at the wall; velocity
absorbers (wool) want to be a quarter wavelength off it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from sim.acoustics.air import Air
from sim.acoustics.layers import AirGap, BuildUp, Cloth, Membrane, PerforatedSheet, PorousLayer
from sim.acoustics.sheets import END_CORRECTION

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
    """f0 = (c/2 pi) sqrt(eps/(t' d)) in Hz, t' = t + 0.85 hole diameters (Cox & D'Antonio; Kuttruff).

    `filled` as for a membrane: lower by the root of the ratio of specific heats.  That near holes share the air at
    their ends is neglected: at 5 to 10 % open it would raise f0 by about 5 %.  The gap is taken as short against the
    wavelength.  Raises ValueError for a gap that is not above zero.
    """
    _check(gap_m=gap_m)
    length = sheet.thickness_m + END_CORRECTION * sheet.hole_diameter_m
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
