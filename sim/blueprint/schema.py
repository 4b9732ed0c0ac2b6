"""The whole scene as written: one frozen record with every value checked.

Geometry is not looked at here; whether a listener is inside the room is found out when it is built.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sim.blueprint.build_ups import BuildUpRecord, layers_in_words
from sim.blueprint.furniture import Furniture
from sim.blueprint.loudspeakers import KINDS as KINDS
from sim.blueprint.loudspeakers import LoudspeakerModel as LoudspeakerModel
from sim.blueprint.records import AxisPoint, Point, Record
from sim.blueprint.room import KeepClear, Opening, Room, SecondSeat
from sim.blueprint.treatment import Panel, Target, Treatment
from sim.blueprint.units import NonNegativeLength, PositiveLength

ROLL_DEG = {"upright": 0.0, "on its right side": 90.0, "on its left side": -90.0, "inverted": 180.0}


Coefficient = Annotated[float, Field(ge=0.0)]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]


class MaterialRecord(BuildUpRecord):
    """A material of one's own: absorption coefficients of the octaves 63 Hz to 8 kHz, or an absorber in layers."""

    absorption: (
        tuple[Coefficient, Coefficient, Coefficient, Coefficient, Coefficient, Coefficient, Coefficient, Coefficient]
        | None
    ) = Field(default=None, description="at random incidence, for the octaves 63 Hz to 8 kHz")
    scattering: (
        Fraction | tuple[Fraction, Fraction, Fraction, Fraction, Fraction, Fraction, Fraction, Fraction] | None
    ) = Field(
        default=None,
        description="share of the reflected energy that is scattered: one number, or one each from 63 Hz to 8 kHz",
    )

    @model_validator(mode="after")
    def _given_once(self) -> Self:
        """Replace the validator of the same name, which knows of two ways only."""
        given = [key for key in ("absorption", "build_up", "layers") if getattr(self, key) is not None]
        if len(given) != 1:
            found = " and ".join(given) if given else "none of absorption, build_up and layers"
            raise ValueError(f'it has {found}; give one of them, such as build_up = "100 mm wool, 100 mm gap"')
        if self.absorption is not None and len(self.source) < 3:
            raise ValueError('its absorption has no source; add source = "where the numbers come from"')
        if self.absorption is not None and self.behind is not None:
            raise ValueError("it has absorption and behind; leave behind out, or tell the layers before that wall")
        if self.build_up is not None:
            layers_in_words(self.build_up)
        return self


class Loudspeaker(Record):
    """One loudspeaker: which model, where its acoustic axis point is, how it is turned, on what it stands."""

    name: str
    model: str = Field(default="two-way", description="a name from [models], or a kind")
    set: str = Field(default="", description="those of one set play together; different sets never do")
    acoustic_axis: AxisPoint
    toe_in_deg: Annotated[float, Field(ge=-180.0, le=180.0)] | Literal["ear"] = Field(
        default="ear", description='positive turns toward the centre line; "ear" aims at the listener'
    )
    aim_behind: NonNegativeLength = Field(default=0.0, description='with "ear": aim this far behind the head')
    tilt_deg: Annotated[float, Field(ge=-90.0, le=90.0)] | Literal["ear"] = Field(
        default=0.0, description='positive is down; "ear" aims at the ear'
    )
    roll: (
        Literal["upright", "inverted", "on its right side", "on its left side"]
        | Annotated[float, Field(ge=-720.0, le=720.0)]
    ) = "upright"
    standing: Literal["desk", "stand", "position", "built in"] = "position"
    stands_on: str | None = Field(
        default=None, description="name of the desk, shelf or bridge below it; left out, whatever is below"
    )
    pad: NonNegativeLength = Field(default=0.0, description="height of pads or blocks under the cabinet")
    stand_height: PositiveLength | None = Field(default=None, description="floor to the stand's top plate")
    built_into: tuple[str, ...] = Field(default=(), description="surface its front lies in, when built in")
    strap: str = Field(default="", description="what keeps a tilted or overhanging cabinet from falling")

    @property
    def roll_deg(self) -> float:
        """Roll in degrees: 0 upright, 90 top toward the seat's right, 180 inverted."""
        return ROLL_DEG[self.roll] if isinstance(self.roll, str) else float(self.roll)

    @model_validator(mode="after")
    def _height_is_known(self) -> Self:
        if self.acoustic_axis.up is None:
            if self.standing in ("position", "built in"):
                raise ValueError(
                    'its acoustic_axis has no "up"; add one such as up = 1.22,'
                    ' or say standing = "desk" or "stand", from which it follows'
                )
            if self.standing == "stand" and self.stand_height is None:
                raise ValueError(
                    'its acoustic_axis has no "up"; add one such as up = 1.22, or stand_height = 0.95,'
                    " from which it follows"
                )
        return self


class HeadBox(Record):
    """Where the head may be: full sizes of a box around the ear point."""

    depth: NonNegativeLength = 0.30
    across: NonNegativeLength = 0.30
    up: NonNegativeLength = 0.10


class Listener(Record):
    """The ear point (middle of the head at ear height), how far the head moves, and a second seat."""

    ear: Point
    head_box: HeadBox = HeadBox()
    second_seat: SecondSeat | None = None


class AirRecord(Record):
    """Air in the room."""

    temperature_c: float = Field(default=20.0, ge=-20.0, le=50.0)
    relative_humidity_percent: float = Field(default=50.0, ge=1.0, le=100.0)
    pressure_kpa: float = Field(default=101.325, ge=50.0, le=110.0)


class Method(Record):
    """How far the calculation goes."""

    order: int = Field(default=3, ge=1, le=6, description="most surfaces one path may touch")
    grid: PositiveLength = Field(default=0.05, description="grid of the surface maps")
    placement_error: NonNegativeLength = Field(default=0.03, description="how far loudspeakers may be off")
    seed: int = Field(default=1, ge=0)
    waves_to_hz: float = Field(
        default=1000.0,
        ge=0.0,
        le=8000.0,
        description="up to which frequency sound waves round what stands near are worked out; 0: none",
    )


class Blueprint(Record):
    """A scene as written, every value checked; geometry comes later."""

    title: str = "untitled room"
    units: Literal["m", "cm", "mm", "in", "ft"] = "m"
    room: Room
    listener: Listener
    loudspeakers: tuple[Loudspeaker, ...] = Field(min_length=1)
    plays: str = Field(default="", description="the set of loudspeakers that plays; left out, the one named first")
    silent: tuple[Loudspeaker, ...] = Field(
        default=(), description="loudspeakers of other sets, which stand in the room and do not play"
    )
    models: dict[str, LoudspeakerModel] = Field(default_factory=dict)
    furniture: tuple[Furniture, ...] = ()
    openings: tuple[Opening, ...] = ()
    keep_clear: tuple[KeepClear, ...] = ()
    panels: tuple[Panel, ...] = ()
    treatment: Treatment = Treatment()
    materials: dict[str, MaterialRecord] = Field(default_factory=dict)
    air: AirRecord = AirRecord()
    target: Target = Target()
    method: Method = Method()
    notes: tuple[str, ...] = Field(default=(), description="assumptions worth printing with every result")
