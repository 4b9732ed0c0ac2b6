"""Small records that the rest of the scene is made of: points, spans, frames and tape checks."""

from __future__ import annotations

from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from sim.answers import one_line
from sim.blueprint.units import Length, NonNegativeLength, PositiveLength

NO_NUMBER = object()


class Record(BaseModel):
    """Frozen, refuses unknown keys, numbers that are not finite, and true or false in place of a number."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)

    @model_validator(mode="before")
    @classmethod
    def _no_truth_for_a_number(cls, given: Any) -> Any:
        if not isinstance(given, dict) or not any(isinstance(value, bool) for value in given.values()):
            return given
        # what is no number is refused under its own key, as any other value of a wrong kind
        return {
            key: NO_NUMBER if isinstance(value, bool) and cls._counts(key) else value for key, value in given.items()
        }

    @classmethod
    def _counts(cls, key: str) -> bool:
        """Whether a key takes a number, but neither true nor false."""
        kinds = _kinds_in(cls.model_fields[key].annotation) if key in cls.model_fields else set()
        return bool not in kinds and bool(kinds & {int, float})

    def __repr__(self) -> str:
        told = ((name, getattr(self, name)) for name in type(self).model_fields if name in self.model_fields_set)
        return one_line(type(self).__name__, told)

    __str__ = __repr__


def _kinds_in(annotation: object) -> set[object]:
    """The plain types of which an annotation lets a value be one."""
    parts = get_args(annotation)
    if get_origin(annotation) is Annotated:
        return _kinds_in(parts[0])
    if get_origin(annotation) in (Union, UnionType):
        return {kind for part in parts for kind in _kinds_in(part)}
    return {annotation}


class Point(Record):
    """A point given by three tape distances, always named so that left and right cannot be swapped."""

    from_front: Length = Field(description="distance from the front wall (the one the listener faces)")
    from_left: Length = Field(description="distance from the left wall, as seen from the seat")
    up: Length = Field(description="height above the floor")

    @property
    def coordinates(self) -> tuple[float, float, float]:
        """Depth, across, up in metres: the right-handed frame of every array."""
        return (self.from_front, self.from_left, self.up)


class AxisPoint(Record):
    """The acoustic axis point of a loudspeaker; `up` may be left out when it stands on something."""

    from_front: Length = Field(description="distance from the front wall to the acoustic axis point")
    from_left: Length = Field(description="distance from the left wall to the acoustic axis point")
    up: Length | None = Field(default=None, description="height; left out, it follows from desk or stand")


class FloorCorner(Record):
    """A corner of the floor outline."""

    from_front: Length
    from_left: Length


def _rising(span: tuple[float, float]) -> tuple[float, float]:
    if not span[1] > span[0]:
        raise ValueError(
            f"it runs from {span[0]:g} m to {span[1]:g} m; the second number must be larger than the first"
        )
    return span


Span = Annotated[tuple[Length, Length], AfterValidator(_rising)]
"""From-to along one direction in metres; written as a list of two lengths."""

Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]


class MeshFrame(Record):
    """How a mesh file lies: its unit and which of its axes run rearward, rightward and up.

    A mesh file carries neither unit nor frame, so both are stated and then confirmed by a tape distance.
    """

    unit: Literal["m", "cm", "mm", "in", "ft"] = Field(description="unit of the numbers in the mesh file")
    depth: Axis = Field(default="+x", description="mesh axis that runs from the front wall to the rear")
    across: Axis = Field(default="+y", description="mesh axis that runs from the left wall to the right")
    up: Axis = Field(default="+z", description="mesh axis that points up")
    origin: Literal["corner", "as given"] = Field(
        default="corner", description='"corner" moves the front-left-floor corner of the mesh to zero'
    )


class TapeCheck(Record):
    """One distance measured with a tape in the real room, to confirm the scale of a mesh."""

    along: Literal["depth", "width", "height"] | None = Field(
        default=None, description="overall inside size in this direction"
    )
    between: tuple[str, str] | None = Field(default=None, description="or: two opposite surfaces by name")
    distance: PositiveLength
    tolerance: NonNegativeLength = Field(default=0.03, description="how far tape and mesh may differ")


class SideCheck(Record):
    """A surface that is surely on one side, to prove that left and right are not swapped."""

    surface: str
    side: Literal["left", "right"]


class NamedSurface(Record):
    """A name (and material) for the surface of the room at a point; needed for meshes without names."""

    name: str
    at: Point
    material: str | None = None
