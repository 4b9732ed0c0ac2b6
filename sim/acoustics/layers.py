"""What an absorber is made of: layers from the room side to the wall, and the wall behind them.

Every record checks its own numbers; a ValueError reads "what was found; what would work".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from sim.acoustics.materials import ABSORPTION_OCTAVES_HZ
from sim.acoustics.porous import POROUS_MODELS, PorousModel, check_flow_resistivity
from sim.answers import printable

THICKEST_LAYER_M: Final = 1.0
"""A thicker layer is a unit mistake (common practice, no source)."""
DENSEST_GRID: Final = np.pi / 4.0
"""Open share at which round holes on a square grid touch each other."""


@printable
@dataclass(frozen=True)
class PorousLayer:
    """Wool, foam or felt whose frame stands still.

    Attributes
    ----------
    thickness_m
        In metres.
    flow_resistivity_pa_s_m2
        Of the material (ISO 9053-1).
    model
        Which model gives its impedance.
    divided
        Whether cells or battens keep sound from running sideways inside it (local reaction); otherwise it is bent
        into the layer by the speed of sound of the layer (bulk reaction).
    """

    thickness_m: float
    flow_resistivity_pa_s_m2: float
    model: PorousModel = "miki"
    divided: bool = False

    def __post_init__(self) -> None:
        _check_thickness("a porous layer", self.thickness_m)
        check_flow_resistivity(self.flow_resistivity_pa_s_m2)
        if self.model not in POROUS_MODELS:
            raise ValueError(
                f'the porous model is "{self.model}"; write ' + " or ".join(f'"{m}"' for m in POROUS_MODELS)
            )


@printable
@dataclass(frozen=True)
class AirGap:
    """Air between two layers or before the wall.

    Attributes
    ----------
    thickness_m
        In metres.
    divided
        As for a porous layer.
    """

    thickness_m: float
    divided: bool = False

    def __post_init__(self) -> None:
        _check_thickness("an air gap", self.thickness_m)


@printable
@dataclass(frozen=True)
class Cloth:
    """Cloth or another thin sheet that air passes.

    Attributes
    ----------
    flow_resistance_pa_s_m
        Its flow resistance.
    mass_kg_m2
        Mass if it is free to move: resistance and inertia then act side by side (Ingard, Notes on Sound Absorption
        Technology, 1994), a light cloth being carried along by the air at low frequencies. Without one it is held
        still.
    """

    flow_resistance_pa_s_m: float
    mass_kg_m2: float | None = None

    def __post_init__(self) -> None:
        _check_range("the flow resistance of a cloth", self.flow_resistance_pa_s_m, 0.0, 10_000.0, "Pa s/m")
        if self.mass_kg_m2 is not None:
            _check_range("the mass of a cloth", self.mass_kg_m2, 1e-3, 20.0, "kg/m2")


@printable
@dataclass(frozen=True)
class PerforatedSheet:
    """A stiff, heavy sheet with round holes.

    Attributes
    ----------
    thickness_m, hole_diameter_m
        In metres.
    open_share
        Area of the holes over the whole area.
    """

    thickness_m: float
    hole_diameter_m: float
    open_share: float

    def __post_init__(self) -> None:
        _check_thickness("a perforated sheet", self.thickness_m)
        _check_range("the diameter of a hole", self.hole_diameter_m, 5e-5, 0.1, "m")
        _check_range("the open area fraction of a perforated sheet", self.open_share, 1e-4, 0.8, "(0 to 1)")

    @classmethod
    def with_pitch(cls, thickness_m: float, hole_diameter_m: float, pitch_m: float) -> PerforatedSheet:
        """Make a sheet with holes on a square grid, `pitch_m` from centre to centre: share pi/4 (d/pitch)^2."""
        if not pitch_m > hole_diameter_m:
            raise ValueError(
                f"holes of {1000 * hole_diameter_m:g} mm are {1000 * pitch_m:g} mm apart from centre to centre; "
                "give a pitch above the diameter"
            )
        return cls(thickness_m, hole_diameter_m, float(DENSEST_GRID * (hole_diameter_m / pitch_m) ** 2))

    @property
    def pitch_m(self) -> float:
        """Distance between the centres of holes if they sit on a square grid."""
        return self.hole_diameter_m * float(np.sqrt(DENSEST_GRID / self.open_share))


@printable
@dataclass(frozen=True)
class Membrane:
    """A closed sheet moved by sound; its stiffness is neglected (limp mass), so that the air behind is its only spring.

    Attributes
    ----------
    mass_kg_m2
        Its mass.
    resistance_pa_s_m
        Friction at its rims and in itself.
    """

    mass_kg_m2: float
    resistance_pa_s_m: float = 0.0

    def __post_init__(self) -> None:
        _check_range("the mass of a membrane", self.mass_kg_m2, 1e-3, 200.0, "kg/m2")
        _check_range("the friction of a membrane", self.resistance_pa_s_m, 0.0, 1e5, "Pa s/m")


Layer: TypeAlias = PorousLayer | AirGap | Cloth | PerforatedSheet | Membrane


@printable
@dataclass(frozen=True)
class Backing:
    """What stands behind the layers: rigid unless one of two things is given.

    Attributes
    ----------
    name
        What people call it.
    absorption
        Coefficients at random incidence for the octaves 63 Hz to 8 kHz, turned into the real reflection factor sqrt(1
        - alpha) at every angle, just as a bare wall of that material is treated.
    impedance_pa_s_m
        Complex surface impedance, the same at every angle and frequency.
    """

    name: str = "hard wall"
    absorption: tuple[float, ...] | None = None
    impedance_pa_s_m: complex | None = None

    def __post_init__(self) -> None:
        if self.absorption is not None and self.impedance_pa_s_m is not None:
            raise ValueError(f"the backing '{self.name}' has an absorption and an impedance; give one of them")
        if self.absorption is not None and len(self.absorption) != len(ABSORPTION_OCTAVES_HZ):
            raise ValueError(
                f"the backing '{self.name}' has {len(self.absorption)} absorption coefficients; "
                "give 8, one for each octave from 63 Hz to 8 kHz"
            )
        if self.absorption is not None and not all(np.isfinite(a) and a >= 0.0 for a in self.absorption):
            raise ValueError(f"the backing '{self.name}' has an absorption below zero or no number; give 0 to 1")
        if self.impedance_pa_s_m is not None and not self.impedance_pa_s_m.real >= 0.0:
            raise ValueError(
                f"the backing '{self.name}' has an impedance with the resistance {self.impedance_pa_s_m.real:g} "
                "Pa s/m, which would give energy off; give zero or more"
            )


@printable
@dataclass(frozen=True)
class BuildUp:
    """An absorber: layers from the room to the wall, the wall, and where the numbers are from.

    Attributes
    ----------
    name
        What people call it.
    layers
        From the room to the wall; without any it is the bare backing.
    backing
        The wall.
    source
        Where the numbers are from.
    mass_kg_m2
        Estimate for hanging it, None when unknown.
    note
        What to mind about it.
    """

    name: str
    layers: tuple[Layer, ...]
    backing: Backing = Backing()
    source: str = ""
    mass_kg_m2: float | None = None
    note: str = ""

    @property
    def depth_m(self) -> float:
        """Thickness of all layers from the wall to the face; cloth and membranes count as none."""
        thick = sum(layer.thickness_m for layer in self.layers if not isinstance(layer, Cloth | Membrane))
        return round(float(thick), 9)


def check_depth(build_up: BuildUp, space_m: float) -> None:
    """Raise ValueError ("found; remedy") when a build-up is thicker than the space it is to stand in."""
    if build_up.depth_m > space_m + 1e-9:
        raise ValueError(
            f'"{build_up.name}" is {1000 * build_up.depth_m:.0f} mm deep, but there are {1000 * space_m:.0f} mm; '
            "choose a thinner one or a smaller gap"
        )


def layer_words(layer: Layer) -> str:
    """Say what a layer is, with its numbers."""
    divided = ", divided" if isinstance(layer, PorousLayer | AirGap) and layer.divided else ""
    if isinstance(layer, PorousLayer):
        model = "" if layer.model == "miki" else ", model of Delany and Bazley"
        sigma = layer.flow_resistivity_pa_s_m2
        return f"porous, {_mm(layer.thickness_m)}, flow resistivity {sigma:.0f} Pa s/m2{model}{divided}"
    if isinstance(layer, AirGap):
        return f"air gap, {_mm(layer.thickness_m)}{divided}"
    if isinstance(layer, Cloth):
        mass = "held still" if layer.mass_kg_m2 is None else f"{layer.mass_kg_m2:g} kg/m2"
        return f"cloth, flow resistance {layer.flow_resistance_pa_s_m:g} Pa s/m, {mass}"
    if isinstance(layer, PerforatedSheet):
        return (
            f"perforated sheet, {_mm(layer.thickness_m)}, holes of {_mm(layer.hole_diameter_m)}, "
            f"{100 * layer.open_share:.3g} % open"
        )
    return f"membrane, {layer.mass_kg_m2:g} kg/m2"


def _mm(metres: float) -> str:
    return f"{1000 * metres:.4g} mm"


def _check_thickness(what: str, thickness_m: float) -> None:
    if thickness_m > 0.0 and thickness_m <= THICKEST_LAYER_M:
        return
    remedy = "give a thickness above zero, such as 0.05 m"
    if thickness_m > THICKEST_LAYER_M:
        remedy = f"give at most {THICKEST_LAYER_M:g} m"
        if 10.0 <= thickness_m <= 1000.0 * THICKEST_LAYER_M:
            remedy += f" ({thickness_m:g} mm are {thickness_m / 1000.0:g} m)"
    raise ValueError(f"{what} is {thickness_m:g} m thick; {remedy}")


def _check_range(what: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise ValueError(f"{what} is {value:g} {unit}; give {low:g} to {high:g}")
