"""Furniture as written: each kind given by the distances one can measure with a tape."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal

from pydantic import Field, model_validator

from sim.blueprint.records import MeshFrame, Point, Record, Span
from sim.blueprint.units import PositiveLength

Turn = Annotated[float, Field(ge=-180.0, le=180.0, description="turned about its middle, counter-clockwise from above")]


class Piece(Record):
    """A piece of furniture, and what can be asked of any."""

    bears: ClassVar[bool] = False
    """Whether loudspeakers may stand on its top."""

    def top_at(self, from_front: float, from_left: float) -> float:
        """Height in metres of its top at the place of the top nearest to a plan point; nan for what bears nothing."""
        return math.nan

    def beyond_m(self, from_front: float, from_left: float) -> float:
        """How far in metres a plan point is beyond the nearest edge of its top: negative on it, inf without a top."""
        return math.inf


class Top(Piece):
    """A piece with a flat top, a rectangle in plan that may be turned about its middle."""

    bears: ClassVar[bool] = True
    if TYPE_CHECKING:  # each kind says them where they belong among its own keys
        from_front: Span
        from_left: Span
        turn_deg: Turn

    def own_plan(self, from_front: float, from_left: float) -> tuple[float, float]:
        """A plan point as it would be from_front and from_left if the piece were turned back."""
        middle = (0.5 * sum(self.from_front), 0.5 * sum(self.from_left))
        depth, across = from_front - middle[0], from_left - middle[1]
        cosine, sine = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        return middle[0] + cosine * depth + sine * across, middle[1] - sine * depth + cosine * across

    def beyond_m(self, from_front: float, from_left: float) -> float:
        """As `Piece.beyond_m`."""
        depth, across = self.own_plan(from_front, from_left)
        (far, near), (left, right) = self.from_front, self.from_left
        return max(far - depth, depth - near, left - across, across - right)


class Desk(Top):
    """A desk or console top: a plate, open below, closed by a far panel, or solid down to the floor.

    Its listener-side edge is a hinge: that edge stays at the height `top`, and a positive tilt_deg raises the far one.
    `from_front` are both edges as they stand, so that a tape hung from either reads it on a tilted desk too.
    """

    kind: Literal["desk"]
    name: str = "desk"
    from_front: Span = Field(description="far edge and listener-side edge, in plan")
    from_left: Span = Field(description="left end and right end")
    top: PositiveLength = Field(description="height of the top at its listener-side edge")
    thickness: PositiveLength = 0.03
    tilt_deg: float = Field(
        default=0.0, ge=-45.0, le=45.0,
        description="slope of the top about its listener-side edge, which stays; positive: the far edge rises",
    )  # fmt: skip
    front: Literal["open", "closed", "solid"] = Field(
        default="open", description="open below; closed by a panel under the far edge; solid to the floor"
    )
    turn_deg: Turn = 0.0
    material: str = "mdf or veneered board"

    def rise_at(self, from_front: float, from_left: float, tilt_deg: float) -> float:
        """How much higher than its listener-side edge the top's plane would be at a plan point, tilted by tilt_deg."""
        return (self.from_front[1] - self.own_plan(from_front, from_left)[0]) * math.tan(math.radians(tilt_deg))

    def top_at(self, from_front: float, from_left: float) -> float:
        """As `Piece.top_at`."""
        far, near = self.from_front
        depth = min(max(self.own_plan(from_front, from_left)[0], far), near)
        return self.top + (near - depth) * math.tan(math.radians(self.tilt_deg))


class Block(Top):
    """A box: raised shelf, meter bridge, equipment rack, cupboard, beam, false wall."""

    kind: Literal["shelf", "bridge", "rack", "cupboard", "beam", "block"]
    name: str = Field(default="", description="left out, it is called after its kind")
    from_front: Span
    from_left: Span
    up: Span
    turn_deg: Turn = 0.0
    material: str = "mdf or veneered board"

    def top_at(self, from_front: float, from_left: float) -> float:
        """As `Piece.top_at`."""
        return self.up[1]

    @model_validator(mode="before")
    @classmethod
    def _named_after_its_kind(cls, given: Any) -> Any:
        if isinstance(given, dict) and not given.get("name"):
            return {**given, "name": given.get("kind", "")}
        return given


class Screen(Piece):
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


class Sofa(Piece):
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


class MeshFurniture(Piece):
    """A closed mesh of your own; `at` is where its front-left-floor corner stands."""

    kind: Literal["mesh"]
    name: str
    file: str
    frame: MeshFrame
    at: Point
    repair: bool = False
    material: str = "mdf or veneered board"


Furniture = Annotated[Desk | Block | Screen | Sofa | MeshFurniture, Field(discriminator="kind")]
