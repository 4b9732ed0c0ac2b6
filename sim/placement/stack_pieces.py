"""What people have to stand a loudspeaker on, told in a few words: "block 390x190x190 12kg x4".

Sizes are width x depth x height, in millimetres unless they bring a unit ("12x8x8in").  Words may be parted by blanks
or by commas.  Lengths inside are metres.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, get_args

from ..answers import printable
from ..blueprint.units import UNIT_M, text_to_metres
from ..errors import SceneError

Kind: TypeAlias = Literal["block", "plate", "pad", "isolator", "stand"]
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
SOFT: Final = ("pad", "isolator")
FEET: Final = 4
"""Isolators stand in fours, one under each corner, unless told otherwise."""
DENSITY_KG_M3: Final = {"block": 2000.0, "plate": 700.0, "pad": 100.0, "isolator": 1000.0, "stand": 0.0}
"""For pieces whose mass is not told: solid concrete, board, foam, rubber (common practice, no source)."""
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
        As it was told, and which of `KINDS` it is.
    width_m, depth_m, height_m
        As it lies when told: height is the thickness of plates and pads, the lowest setting of a stand.
    most_height_m
        Highest setting of a stand, else `height_m`.
    mass_kg, mass_told
        Of one; whether it was told or follows from the usual density of its kind.
    count, in_layer
        How many there are; how many lie side by side in one layer.
    compression_m, compression_at_kg
        How far it gives way, under which load on one of it (0: under this load, whatever it is);
        a compression of zero: not at all.
    hollow_m3
        What can be filled.
    """

    words: str
    kind: Kind
    width_m: float
    depth_m: float
    height_m: float
    most_height_m: float
    mass_kg: float
    mass_told: bool
    count: int = 1
    in_layer: int = 1
    compression_m: float = 0.0
    compression_at_kg: float = 0.0
    hollow_m3: float = 0.0

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
        told = " x ".join(f"{1000.0 * side:g}" for side in (width, depth, height))
        raise SceneError(
            where,
            f'"{text}" is {told} mm',
            "give sizes above zero and up to 3000 mm, or with their unit (390x190x190mm)",
        )
    return width, depth, height, most


def read_piece(text: str, share: int = 1) -> Piece:
    """Read one kind of piece; its count is shared out among `share` stacks.

    KIND WIDTHxDEPTHxHEIGHT, then in any order: `12kg` each, `x4` of them, `layer 2` side by side, `compression 2mm`,
    `at 5kg`, `hollow 4l`.  A stand may have a range of heights, `300x300x800-1100`.

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
        elif re.fullmatch(r"\d+\.?\d*kg", word):
            mass = float(word[:-2])
        else:
            raise SceneError("--have", f'"{word}" in "{text}" is not understood', EXAMPLE)
    if mass is not None and not mass > 0.0:
        raise SceneError("--have", f'"{text}" weighs nothing', "give the mass of one, or leave it out")
    in_layer = int(numbers.get("layer", FEET if kind == "isolator" else 1))
    count = int(numbers.get("count", in_layer)) // share
    if count > MOST_PIECES:
        raise SceneError("--have", f'"{text}" are {count} for one stack', f"name {MOST_PIECES} of a kind at most")
    if in_layer < 1 or count < in_layer:
        raise SceneError(
            "--have", f'"{text}" leaves {count} for one stack, and one layer takes {in_layer}',
            "give more of them, or say how many lie side by side, such as layer 1",
        )  # fmt: skip
    if numbers.get("compression", 0.0) >= height:
        raise SceneError("--have", f'"{text}" would be pressed flat', "give less compression than its height")
    if kind not in SOFT and "compression" in numbers:
        raise SceneError("--have", f'"{text}" gives way', "call it a pad or an isolator")
    usual = STAND_KG if kind == "stand" else width * depth * height * DENSITY_KG_M3[kind]
    return Piece(
        words=" ".join(words), kind=kind, width_m=width, depth_m=depth, height_m=height, most_height_m=most,
        mass_kg=usual if mass is None else mass, mass_told=mass is not None, count=count, in_layer=in_layer,
        compression_m=numbers.get("compression", 0.0), compression_at_kg=numbers.get("at", 0.0),
        hollow_m3=0.001 * numbers.get("hollow", 0.0),
    )  # fmt: skip


def _number(word: str, value: str, text: str) -> float:
    """A number behind its word, in metres, kilograms, litres or plain."""
    unit = {"at": "kg", "hollow": "l"}.get(word, "")
    try:
        if word == "compression":
            number = float(value) * 0.001 if re.fullmatch(r"[\d.]+", value) else text_to_metres(value)
        else:
            number = float(value.removesuffix(unit)) if word != "layer" else float(int(value))
    except ValueError:
        raise SceneError("--have", f'"{word} {value}" in "{text}" is no number', EXAMPLE) from None
    if not number > 0.0:
        raise SceneError("--have", f'"{word} {value}" in "{text}" is not above zero', "leave it out if there is none")
    return number
