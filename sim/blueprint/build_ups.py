"""Absorbers as written in a scene: by name, in words such as "100 mm wool, 100 mm gap", or layer by layer."""

from __future__ import annotations

import re
from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, model_validator

from sim.acoustics.buildups import assemble, build_ups, find_build_up, layer_of, nearest, porous_materials
from sim.acoustics.layers import BuildUp
from sim.blueprint.records import Record
from sim.blueprint.units import PositiveLength, text_to_metres

GAP_WORDS: Final = ("gap", "air", "air gap", "of air")
_BETWEEN_LAYERS = re.compile(r"(?<=[a-z])\s*[,+]\s*")
"""A comma after a digit is a decimal comma; one after a word parts layers."""
_WORDED_LAYER = re.compile(r"\s*(?P<size>[-+]?[\d.,/ ]+(?:mm|cm|m|in|ft|\"|')(?![a-z]))\s*(?P<what>[a-z][a-z ]*?)\s*$")


class LayerRecord(Record):
    """One layer of an absorber: exactly one of porous, gap, cloth, perforated and membrane."""

    porous: PositiveLength | None = Field(default=None, description="thickness of wool, foam or felt")
    of: str | None = Field(default=None, description='what a porous layer is of, such as "wool" or "foam"')
    flow_resistivity: Annotated[float, Field(gt=0.0)] | None = Field(
        default=None, description="of a porous layer, in Pa s/m2 (ISO 9053-1), in place of `of`"
    )
    model: Literal["miki", "delany-bazley"] | None = Field(default=None, description="model of a porous layer")
    gap: PositiveLength | None = Field(default=None, description="thickness of an air gap")
    divided: bool | None = Field(
        default=None, description="battens or cells keep sound from running sideways in a gap or porous layer"
    )
    cloth: Annotated[float, Field(gt=0.0)] | None = Field(
        default=None, description="flow resistance of a cloth in Pa s/m"
    )
    mass: Annotated[float, Field(gt=0.0)] | None = Field(
        default=None, description="mass of a cloth in kg/m2 when it is free to move"
    )
    perforated: PositiveLength | None = Field(default=None, description="thickness of a sheet with round holes")
    hole: PositiveLength | None = Field(default=None, description="diameter of the holes")
    pitch: PositiveLength | None = Field(default=None, description="holes from centre to centre, on a square grid")
    open_share: Annotated[float, Field(gt=0.0, lt=1.0)] | None = Field(
        default=None, description="area of the holes over the whole area, in place of pitch"
    )
    membrane: Annotated[float, Field(gt=0.0)] | None = Field(
        default=None, description="mass of a closed limp sheet in kg/m2"
    )
    friction: Annotated[float, Field(ge=0.0)] | None = Field(
        default=None, description="resistance of a membrane's movement in Pa s/m"
    )

    @property
    def words(self) -> dict[str, Any]:
        """What is given, in SI units, as `sim.acoustics.buildups.layer_of` reads it."""
        return self.model_dump(exclude_none=True)

    @model_validator(mode="after")
    def _can_be(self) -> Self:
        layer_of(self.words)
        return self


class BuildUpRecord(Record):
    """An absorber of one's own, from the room side to the wall behind: `build_up` in words, or `layers`."""

    build_up: str | None = Field(
        default=None, description='a build-up of the library, or words such as "100 mm wool, 100 mm gap"'
    )
    layers: tuple[LayerRecord, ...] | None = Field(
        default=None, min_length=1, description="layers from the room side to the wall"
    )
    behind: str | None = Field(
        default=None, description="material of the wall behind; left out, the wall is taken as hard"
    )
    source: str = Field(default="", description="where the numbers come from")

    @model_validator(mode="after")
    def _given_once(self) -> Self:
        if (self.build_up is None) == (self.layers is None):
            found = "has both build_up and layers" if self.layers is not None else "has neither build_up nor layers"
            raise ValueError(f'it {found}; give one of them, such as build_up = "100 mm wool, 100 mm gap"')
        if self.build_up is not None:
            layers_in_words(self.build_up)
        return self

    @property
    def layer_words(self) -> tuple[dict[str, Any], ...] | None:
        """Words of every layer, in SI units; None when `build_up` names one of the library."""
        if self.layers is not None:
            return tuple(layer.words for layer in self.layers)
        return layers_in_words(self.build_up or "")


def layers_in_words(text: str) -> tuple[dict[str, Any], ...] | None:
    """Read words such as "100 mm wool, 100 mm gap" into layers; None when they name a build-up of the library.

    Every part is a length with its unit, then what it is of: a porous material of the library, or a gap.  Raises
    ValueError ("found; remedy") for anything else.
    """
    if " ".join(text.lower().split()) in build_ups():
        return None
    layers: list[dict[str, Any]] = []
    for part in _BETWEEN_LAYERS.split(text.lower()):
        given = _WORDED_LAYER.fullmatch(part)
        if given is None:
            raise ValueError(
                f'"{text}" is no build-up that is known; write layers from the room to the wall, such as '
                f'"100 mm wool, 100 mm gap", or a name of the library: {nearest(text.lower(), list(build_ups()))}'
            )
        size, what = text_to_metres(given["size"].strip()), " ".join(given["what"].split())
        what = what.removeprefix("of ")
        if what in GAP_WORDS:
            words: dict[str, Any] = {"gap": size}
        elif what in porous_materials():
            words = {"porous": size, "of": what}
        else:
            known = ", ".join(f"'{name}'" for name in porous_materials())
            raise ValueError(f"a layer is of '{what}'; it may be of {known}, or a gap")
        layer_of(words)
        layers.append(words)
    return tuple(layers)


def build_up_in_words(text: str) -> BuildUp:
    """Return the build-up of the library or the one given in words, on a hard wall; ValueError as `layers_in_words`."""
    layers = layers_in_words(text)
    if layers is None:
        return find_build_up(text)
    return assemble(text, layers, source="flow resistivities of the library")
