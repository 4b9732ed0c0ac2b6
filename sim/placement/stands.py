"""What stands: static tip angles, springs under a load, what fills a hollow column.

Statics only.  Whether a stand rings, wobbles or walks is outside the model; see `HAND_TEST`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..answers import printable

GRAVITY_M_S2: Final = 9.81
TIP_WARNING_DEG: Final = 10.0
"""What stands on a floor should still stand when this is tilted under it (tilt test of IEC 62368-1, second-hand)."""
ISOLATES_ABOVE: Final = float(np.sqrt(2.0))
"""A spring under a mass passes on less than it is given above this many times its own frequency, whatever its losses
(Den Hartog, Mechanical Vibrations, 1956)."""
FILLINGS_KG_PER_L: Final = {"dry sand": 1.6, "steel shot": 4.5}
"""Mass of what people pour into hollow columns, loosely filled (common practice, no source)."""
HAND_TEST: Final = (
    "A stand that rings or wobbles is outside this model. The hand test: knock on each column with a knuckle (a dull "
    "thud is good, a note that lasts is not), then push the top of the box by a finger's width and let go (it should "
    "stop at once and stand where it stood)."
)
STAND_CAUTIONS: Final[tuple[str, ...]] = (
    "Tipping: what stands in a calm room may be pulled, leant on or tripped over; a cable pulls too. Strap the box to "
    "the stack and the stack to a wall or a heavy piece.",
    "Lifting: build the stack in place, empty; lift a heavy box with two people or a hoist; mind your fingers.",
    "Children and pets: loose blocks are no furniture. Where they may be, fix the stack or leave it.",
    "Earthquakes: where the ground moves, a loose stack does not count as standing, whatever its tip angle.",
    "Floor: blocks press on little; ask about the load a wooden floor takes, and put a plate below.",
    "Local codes and licensed trades come first; nothing here replaces them.",
)


@printable
@dataclass(frozen=True, slots=True)
class TipAngles:
    """Angles in degrees by which the floor may lean before a thing tips over each edge; negative: it falls.

    Attributes
    ----------
    forward_deg, rearward_deg, sideways_deg
        Toward the listener, away from the listener, to the nearer side.
    """

    forward_deg: float
    rearward_deg: float
    sideways_deg: float

    @property
    def least_deg(self) -> float:
        """The smallest of the three."""
        return min(self.forward_deg, self.rearward_deg, self.sideways_deg)


def tip_angle_deg(foot_to_edge_m: float, height_m: float) -> float:
    """Static tip angle, atan(distance from the centre of gravity's foot to the edge / height of that centre).

    Plain statics of a rigid body.  A foot outside the edge gives a negative angle: it does not stand.
    """
    return float(np.degrees(np.arctan2(foot_to_edge_m, height_m)))


def spring_frequency_hz(deflection_m: float) -> float:
    """Natural frequency of a mass on a linear spring that its weight presses in: sqrt(g/d)/(2 pi).

    With d in millimetres and g = 9.81 m/s2 this is 15.76/sqrt(d) Hz (Den Hartog, Mechanical Vibrations, 1956).
    Raises ValueError for a deflection that is not above zero.
    """
    if not deflection_m > 0.0:
        raise ValueError(f"a deflection of {1000.0 * deflection_m:g} mm; a spring gives way by more than zero")
    return float(np.sqrt(GRAVITY_M_S2 / deflection_m) / (2.0 * np.pi))


def isolates_from_hz(deflection_m: float) -> float:
    """Frequency in Hz above which a spring of that static deflection passes on less than it is given."""
    return ISOLATES_ABOVE * spring_frequency_hz(deflection_m)


def fill_masses_kg(hollow_m3: float) -> dict[str, float]:
    """Mass in kg of each usual filling of a hollow of that volume."""
    return {name: 1000.0 * hollow_m3 * density for name, density in FILLINGS_KG_PER_L.items()}


def axis_over_foot_m(axis_in_box_m: float, ahead_m: float, tilt_deg: float) -> float:
    """Height of the acoustic axis point, on the front of a box, over what it stands on.

    A tilted box turns about the edge it still rests on; `ahead_m` is how far its front is ahead of that edge.
    """
    tilt = np.radians(tilt_deg)
    return float(axis_in_box_m * np.cos(tilt) - ahead_m * np.sin(tilt))


def wedge_m(length_m: float, tilt_deg: float) -> float:
    """Height in metres of a wedge that tilts a box, at the other end of the length it rests on."""
    return float(length_m * abs(np.sin(np.radians(tilt_deg))))
