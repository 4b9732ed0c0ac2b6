"""What people have to stand a monitor on, and what stands: static tip angles, springs, filled columns.

Statics only.  Whether a stand rings, wobbles or walks is outside the model; see `HAND_TEST`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, get_args

import numpy as np

from sim.answers import printable
from sim.blueprint.units import POUND_KG, UNIT_M, is_imperial, text_to_metres
from sim.errors import SceneError

GRAVITY_M_S2: Final = 9.81
TIP_WARNING_DEG: Final = 10.0
"""What stands on a floor should still stand when this is tilted under it (tilt test of IEC 62368-1, second-hand)."""
TIP_TO_SPARE_DEG: Final = 15.0
"""Loose pieces shift and carpets give: what tips before this only just stands (common practice, no source)."""
ISOLATES_ABOVE: Final = float(np.sqrt(2.0))
"""A spring under a mass passes on less than it is given above this many times its own frequency, whatever its losses
(Den Hartog, Mechanical Vibrations, 1956)."""
FILLINGS_KG_PER_L: Final = {"dry sand": 1.6, "steel shot": 4.5}
"""Mass of what people pour into hollow columns, loosely filled (common practice, no source)."""
HAND_TEST: Final = (
    "A stand that rings or wobbles is outside this model. The hand test: knock on each column with a knuckle (a dull "
    "thud is good, a note that lasts is not), then push the top of the cabinet by a finger's width and let go (it "
    "should "
    "stop at once and stand where it stood)."
)
STAND_CAUTIONS: Final[tuple[str, ...]] = (
    "Tipping: what stands in a calm room may be pulled, leant on or tripped over; a cable pulls too. Strap the cabinet "
    "to the stack and the stack to a wall or a heavy piece.",
    "Lifting: build the stack in place, empty; lift a heavy monitor with two people or a hoist; mind your fingers.",
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


def axis_over_foot_m(axis_in_cabinet_m: float, ahead_m: float, tilt_deg: float) -> float:
    """Height of the acoustic axis point, on the front of a box, over what it stands on.

    A tilted box turns about the edge it still rests on; `ahead_m` is how far its front is ahead of that edge.
    """
    tilt = np.radians(tilt_deg)
    return float(axis_in_cabinet_m * np.cos(tilt) - ahead_m * np.sin(tilt))


def wedge_m(length_m: float, tilt_deg: float) -> float:
    """Height in metres of a wedge that tilts a box, at the other end of the length it rests on."""
    return float(length_m * abs(np.sin(np.radians(tilt_deg))))


# What people have to stand a monitor on, given in a few words: "block 390x190x190 12kg x4".
#
# Sizes are width x depth x height, in millimetres unless they bring a unit ("12x8x8in").  Words may be parted by blanks
# or by commas.  Lengths inside are metres.

Kind: TypeAlias = Literal["block", "plate", "pad", "isolator", "stand"]
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
SOFT: Final = ("pad", "isolator")
FEET: Final = 4
"""Isolators stand in fours, one under each corner, unless given otherwise."""
DENSITY_KG_M3: Final = {"block": 2000.0, "plate": 700.0, "pad": 100.0, "isolator": 1000.0, "stand": 0.0}
"""For pieces whose mass is not given: solid concrete, board, foam, rubber (common practice, no source)."""
MOST_PIECES: Final = 99
STAND_KG: Final = 6.0
EXAMPLE: Final = 'write it like "block 390x190x190 12kg x4" or "pad 200x250x40 compression 2mm"'
_SIZE = re.compile(
    r"(?P<a>\d+\.?\d*)x(?P<b>\d+\.?\d*)x(?P<c>\d+\.?\d*)(?:-(?P<most>\d+\.?\d*))?(?P<unit>mm|cm|m|in|ft)?"
)


@printable
@dataclass(frozen=True, slots=True)
class Piece:
    """One kind of thing there is, and how many of it.

    Attributes
    ----------
    words, kind
        As it was given, and which of `KINDS` it is.
    width_m, depth_m, height_m
        As it lies when given: height is the thickness of plates and pads, the lowest setting of a stand.
    most_height_m
        Highest setting of a stand, else `height_m`.
    mass_kg, mass_given
        Of one; whether it was given or follows from the usual density of its kind.
    count, in_layer
        How many there are; how many lie side by side in one layer.
    compression_m, compression_at_kg
        How far it gives way, under which load on one of it (0: under this load, whatever it is);
        a compression of zero: not at all.
    hollow_m3
        What can be filled.
    unit
        Its sizes were given in inches ("in") or feet ("ft"); else "mm".
    """

    words: str
    kind: Kind
    width_m: float
    depth_m: float
    height_m: float
    most_height_m: float
    mass_kg: float
    mass_given: bool
    count: int = 1
    in_layer: int = 1
    compression_m: float = 0.0
    compression_at_kg: float = 0.0
    hollow_m3: float = 0.0
    unit: str = "mm"

    @property
    def layers(self) -> int:
        """How many layers there are of it."""
        return self.count // self.in_layer

    def under_kg(self, load_kg: float) -> float:
        """Deflection in metres of a layer of it under a load: a linear spring, shared evenly."""
        if self.compression_at_kg == 0.0:
            return self.compression_m
        return self.compression_m * load_kg / self.in_layer / self.compression_at_kg


def sizes_m(text: str, where: str, remedy: str) -> tuple[float, float, float, float]:
    """Width, depth, height and highest height in metres of "390x190x190", "12x8x8in" or "300x300x800-1100".

    Raises
    ------
    SceneError
        If it is no such text, or a size is zero or over 3 m.
    """
    found = _SIZE.fullmatch(text)
    if found is None:
        raise SceneError(where, f'"{text}" is not three sizes', remedy)
    unit_m = UNIT_M[found["unit"] or "mm"]
    width, depth, height = (float(found[side]) * unit_m for side in "abc")
    most = float(found["most"]) * unit_m if found["most"] else height
    if not (min(width, depth, height) > 0.0 and max(width, depth, height, most) <= 3.0 and most >= height):
        reported = " x ".join(f"{1000.0 * side:g}" for side in (width, depth, height))
        raise SceneError(
            where,
            f'"{text}" is {reported} mm',
            "give sizes above zero and up to 3000 mm, or with their unit (390x190x190mm)",
        )
    return width, depth, height, most


def read_piece(text: str, stacks: int = 1) -> Piece:
    """Read one kind of piece; its count is shared out among `stacks` stacks.

    KIND WIDTHxDEPTHxHEIGHT, then in any order: `12kg` or `26lb` each, `x4` of them, `layer 2` side by side,
    `compression 2mm`, `at 5kg`, `hollow 4l`.  A stand may have a range of heights, `300x300x800-1100`.

    Raises
    ------
    SceneError
        With the words that are at fault and what would work.
    """
    words = text.replace(",", " ").lower().split()
    kind = next((each for each in KINDS if words and words[0] in (each, f"{each}s")), None)
    if kind is None:
        raise SceneError("--have", f'"{text}" does not begin with a kind', f"begin with one of {', '.join(KINDS)}")
    if len(words) < 2:
        raise SceneError("--have", f'"{text}" has no sizes', EXAMPLE)
    width, depth, height, most = sizes_m(words[1], "--have", EXAMPLE)
    if most > height and kind != "stand":
        raise SceneError("--have", f'"{text}" has a range of heights', "only a stand can be set; give one height")
    mass: float | None = None
    numbers: dict[str, float] = {}
    rest = list(words[2:])
    while rest:
        word = rest.pop(0)
        if word in ("compression", "at", "layer", "hollow") and rest:
            numbers[word] = _number(word, rest.pop(0), text)
        elif re.fullmatch(r"x\d+", word):
            numbers["count"] = float(word[1:])
        elif re.fullmatch(r"\d+\.?\d*(kg|lb)", word):
            mass = float(word[:-2]) * (POUND_KG if word.endswith("lb") else 1.0)
        else:
            raise SceneError("--have", f'"{word}" in "{text}" is not understood', EXAMPLE)
    if mass is not None and not mass > 0.0:
        raise SceneError("--have", f'"{text}" weighs nothing', "give the mass of one, or leave it out")
    in_layer = int(numbers.get("layer", FEET if kind == "isolator" else 1))
    count = int(numbers.get("count", in_layer)) // stacks
    if count > MOST_PIECES:
        raise SceneError("--have", f'"{text}" are {count} for one stack', f"name {MOST_PIECES} of a kind at most")
    if in_layer < 1 or count < in_layer:
        raise SceneError(
            "--have",
            f'"{text}" leaves {count} for one stack, and one layer takes {in_layer}',
            "give more of them, or say how many lie side by side, such as layer 1",
        )
    if numbers.get("compression", 0.0) >= height:
        raise SceneError("--have", f'"{text}" would be pressed flat', "give less compression than its height")
    if kind not in SOFT and "compression" in numbers:
        raise SceneError("--have", f'"{text}" gives way', "call it a pad or an isolator")
    usual = STAND_KG if kind == "stand" else width * depth * height * DENSITY_KG_M3[kind]
    return Piece(
        words=" ".join(words),
        kind=kind,
        width_m=width,
        depth_m=depth,
        height_m=height,
        most_height_m=most,
        mass_kg=usual if mass is None else mass,
        mass_given=mass is not None,
        count=count,
        in_layer=in_layer,
        compression_m=numbers.get("compression", 0.0),
        compression_at_kg=numbers.get("at", 0.0),
        hollow_m3=0.001 * numbers.get("hollow", 0.0),
        unit=words[1][-2:] if is_imperial(words[1][-2:]) else "mm",
    )


def _number(word: str, value: str, text: str) -> float:
    """A number behind its word, in metres, kilograms, litres or plain."""
    unit = {"at": "lb" if value.endswith("lb") else "kg", "hollow": "l"}.get(word, "")
    try:
        if word == "compression":
            number = float(value) * 0.001 if re.fullmatch(r"[\d.]+", value) else text_to_metres(value)
        else:
            number = float(value.removesuffix(unit)) if word != "layer" else float(int(value))
            number *= POUND_KG if unit == "lb" else 1.0
    except ValueError:
        raise SceneError("--have", f'"{word} {value}" in "{text}" is no number', EXAMPLE) from None
    if not number > 0.0:
        raise SceneError("--have", f'"{word} {value}" in "{text}" is not above zero', "leave it out if there is none")
    return number
