"""Loudspeaker models as written: a kind with a few sizes, drivers one by one, or a file of measured directivity."""

from __future__ import annotations

from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from sim.blueprint.records import Record
from sim.blueprint.units import Length, NonNegativeLength, PositiveLength

KINDS: Final = ("two-way", "three-way", "coaxial", "point")
"""Kinds that need no more words: a loudspeaker may name one of them as its model."""

OWN, MEASURED = "own drivers", "measured"
_BOX: Final = ("width", "height", "depth")
_GENERIC: Final = (
    "woofer_diameter",
    "mid_diameter",
    "tweeter_diameter",
    "spacing",
    "mid_spacing",
    "crossovers_hz",
    "slope_db_per_octave",
    "plate_turn_deg",
    "axis",
    "waveguide_diameter",
    "coverage_deg",
)
_AXIS_POINT: Final = ("axis_above_bottom", "axis_right_of_middle")
_ALIEN: Final = {
    OWN: (*_GENERIC, "file"),
    MEASURED: (*_GENERIC, "drivers"),
    **dict.fromkeys(KINDS, ("file", "drivers", *_AXIS_POINT)),
}
"""Keys that have no meaning for a kind."""

Frequency = Annotated[float, Field(gt=20.0, lt=20000.0)]


class DriverRecord(Record):
    """One driver of a loudspeaker given driver by driver."""

    name: str = Field(min_length=1)
    diameter: PositiveLength = Field(description="of the moving part")
    above_bottom: PositiveLength = Field(description="its centre above the lower edge of the upright cabinet")
    right_of_middle: Length = Field(
        default=0.0, description="its centre right of the middle of the front, as seen from the seat; negative is left"
    )
    from_hz: Frequency | None = Field(default=None, description="its high-pass; left out, it plays down to the bottom")
    to_hz: Frequency | None = Field(default=None, description="its low-pass; left out, it plays up to the top")
    slope_db_per_octave: Literal[12, 18, 24] = Field(
        default=24, description="Linkwitz-Riley (12, 24) or Butterworth (18), at both ends"
    )
    delay_ms: float = Field(
        default=0.0, ge=-10.0, le=10.0, description="later than the other drivers; negative is earlier"
    )
    gain_db: float = Field(default=0.0, ge=-40.0, le=40.0, description="louder than its band says; negative is softer")
    polarity: Literal["normal", "inverted"] = Field(
        default="normal", description="on top of what a slope of 12 dB needs by itself"
    )
    waveguide_diameter: PositiveLength | None = Field(default=None, description="of the mouth of its waveguide or horn")
    coverage_deg: float = Field(default=90.0, ge=20.0, le=180.0, description="of the waveguide, between -6 dB points")
    file: str | None = Field(default=None, description="measured directivity of this driver alone")

    @model_validator(mode="after")
    def _has_a_band(self) -> Self:
        if self.from_hz is not None and self.to_hz is not None and not self.from_hz < self.to_hz:
            raise ValueError(
                f"it plays from {self.from_hz:g} to {self.to_hz:g} Hz; write the lower frequency in from_hz"
            )
        return self


class LoudspeakerModel(Record):
    """A loudspeaker given by a few numbers; what is left out takes the usual size of its kind."""

    kind: Literal["two-way", "three-way", "coaxial", "point", "own drivers", "measured"]
    width: PositiveLength | None = None
    height: PositiveLength | None = None
    depth: PositiveLength | None = None
    mass_kg: Annotated[float, Field(gt=0.0)] | None = None
    woofer_diameter: PositiveLength | None = None
    mid_diameter: PositiveLength | None = None
    tweeter_diameter: PositiveLength | None = None
    spacing: PositiveLength | None = Field(default=None, description="woofer centre to tweeter centre")
    mid_spacing: PositiveLength | None = Field(default=None, description="mid centre to tweeter centre")
    crossovers_hz: tuple[Frequency, ...] | None = None
    slope_db_per_octave: Literal[12, 18, 24] = 24
    plate_turn_deg: float = Field(
        default=0.0, ge=-180.0, le=180.0, description="turn of the plate with mid and tweeter of a three-way"
    )
    axis: Literal["tweeter", "between"] | None = Field(
        default=None, description="acoustic axis at the tweeter, or between it and the next driver"
    )
    waveguide_diameter: PositiveLength | None = Field(
        default=None, description="of the mouth of the tweeter's waveguide"
    )
    coverage_deg: float = Field(default=90.0, ge=20.0, le=180.0, description="of the waveguide, between -6 dB points")
    drivers: tuple[DriverRecord, ...] = ()
    file: str | None = Field(default=None, description="measured directivity of the whole cabinet")
    axis_above_bottom: NonNegativeLength | None = Field(
        default=None, description="acoustic axis point above the lower edge of the upright cabinet"
    )
    axis_right_of_middle: Length | None = Field(default=None, description="the same, right of the middle of the front")

    @model_validator(mode="after")
    def _fits_its_kind(self) -> Self:
        given = self.model_fields_set
        for key in _ALIEN[self.kind]:
            if key in given:
                raise ValueError(f'it has {key}, which says nothing for kind = "{self.kind}"; {self._remedy(key)}')
        sizes = [key for key in _BOX if getattr(self, key) is not None]
        if self.kind == OWN:
            if not self.drivers:
                raise ValueError('it has no drivers; add a [[models."...".drivers]] for each')
            if len(sizes) < len(_BOX):
                missing = next(key for key in _BOX if key not in sizes)
                raise ValueError(f"its {missing} is missing; write width, height and depth of the cabinet")
        if self.kind == MEASURED:
            if self.file is None:
                raise ValueError('it has no file; add one such as file = "speaker.sofa"')
            if 0 < len(sizes) < len(_BOX):
                raise ValueError("its cabinet is not complete; write width, height and depth, or none of them")
            if not sizes and given & set(_AXIS_POINT):
                raise ValueError("it has an axis point but no cabinet; write width, height and depth too")
        return self

    def _remedy(self, key: str) -> str:
        if key == "file":
            return f'leave it out, or write kind = "{MEASURED}"'
        if key == "drivers":
            return f'leave them out, or write kind = "{OWN}"'
        if key in _AXIS_POINT:
            return 'leave it out, or write axis = "tweeter" or "between"'
        return "leave it out"
