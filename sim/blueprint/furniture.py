"""Furniture as written: each kind told by the distances one can measure with a tape."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from .records import MeshFrame, Point, Record, Span
from .units import PositiveLength

Turn = Annotated[float, Field(ge=-180.0, le=180.0, description="turned about its middle, counter-clockwise from above")]


class Desk(Record):
    """A desk or console top: a plate, open below, closed by a far panel, or solid down to the floor."""

    kind: Literal["desk"]
    name: str = "desk"
    from_front: Span = Field(description="far edge and listener-side edge, in plan")
    from_left: Span = Field(description="left end and right end")
    top: PositiveLength = Field(description="height of the top at its listener-side edge")
    thickness: PositiveLength = 0.03
    tilt_deg: float = Field(default=0.0, ge=-45.0, le=45.0, description="positive: far edge higher")
    front: Literal["open", "closed", "solid"] = Field(
        default="open", description="open below; closed by a panel under the far edge; solid to the floor"
    )
    turn_deg: Turn = 0.0
    material: str = "mdf or veneered board"


class Block(Record):
    """A box: raised shelf, meter bridge, equipment rack, cupboard, beam, false wall."""

    kind: Literal["shelf", "bridge", "rack", "cupboard", "beam", "block"]
    name: str = Field(default="", description="left out, it is called after its kind")
    from_front: Span
    from_left: Span
    up: Span
    turn_deg: Turn = 0.0
    material: str = "mdf or veneered board"

    @model_validator(mode="before")
    @classmethod
    def _named_after_its_kind(cls, given: Any) -> Any:
        if isinstance(given, dict) and not given.get("name"):
            return {**given, "name": given.get("kind", "")}
        return given


class Screen(Record):
    """A flat screen; `at` is the middle of the lower edge of its face."""

    kind: Literal["screen"]
    name: str = "screen"
    at: Point
    width: PositiveLength
    height: PositiveLength
    thickness: PositiveLength = 0.04
    tilt_deg: float = Field(default=0.0, ge=-45.0, le=45.0, description="positive: the face looks up")
    turn_deg: Turn = Field(default=0.0, description="positive: counter-clockwise from above")
    material: str = "heavy glass"


class Sofa(Record):
    """A seat block with a back on one side."""

    kind: Literal["sofa"]
    name: str = "sofa"
    from_front: Span
    from_left: Span
    seat_height: PositiveLength = 0.42
    back_height: PositiveLength = 0.80
    back_depth: PositiveLength = 0.22
    back: Literal["rear", "front", "left", "right"] = Field(default="rear", description="side the back is on")
    material: str = "upholstered seat"


class MeshFurniture(Record):
    """A closed mesh of your own; `at` is where its front-left-floor corner stands."""

    kind: Literal["mesh"]
    name: str
    file: str
    frame: MeshFrame
    at: Point
    repair: bool = False
    material: str = "mdf or veneered board"


Furniture = Annotated[Desk | Block | Screen | Sofa | MeshFurniture, Field(discriminator="kind")]
