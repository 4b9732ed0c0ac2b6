"""A box: shelf, meter bridge, riser on a desk, equipment rack, cupboard, beam, false wall; only the word differs."""

from __future__ import annotations

from typing import Any, ClassVar, Literal, Self, final

from pydantic import Field, model_validator

from sim.blueprint.pieces import Reading, Top, Turn
from sim.blueprint.prisms import Solid, middle, ring, turned, upright
from sim.blueprint.records import Span


@final
class Block(Top):
    """A box: raised shelf, meter bridge, riser on a desk, equipment rack, cupboard, beam, false wall."""

    rank: ClassVar[int] = 20
    kind: Literal["shelf", "bridge", "riser", "rack", "cupboard", "beam", "block"]
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

    def top_at(self, from_front: float, from_left: float) -> float:
        """As `Piece.top_at`."""
        return self.up[1]

    @property
    def worked_at(self) -> bool:
        """As `Piece.worked_at`."""
        return False

    def readings(self) -> tuple[Reading, ...]:
        """As `Piece.readings`; the lower edge of what stands on the floor is not measured."""
        heights = (
            Reading("lower_edge", "lower edge", ("up", 0)),
            Reading("upper_edge", "upper edge", ("up", 1), lifts=True),
        )
        return (*self.edges, *(one for one, height in zip(heights, self.up, strict=True) if height > 0.0))

    @property
    def adjustable(self) -> bool:
        """As `Piece.adjustable`: shelves and cupboards are fixed, beams and blocks are built."""
        return self.kind in ("bridge", "riser", "rack")

    @property
    def stays(self) -> str:
        """As `Piece.stays`."""
        return "it is a beam" if self.kind == "beam" else ""

    def moved(self, step_m: tuple[float, float, float]) -> Self | None:
        """As `Piece.moved`; it can also hang higher or lower."""
        depth, across, up = step_m
        along = super().moved((depth, across, 0.0))
        if along is None or not up:
            return along
        return along.model_copy(update={"up": tuple(end + up for end in self.up)})

    @property
    def cuttable(self) -> tuple[str, ...]:
        """As `Piece.cuttable`."""
        return ("from_front", "from_left", "up")

    def solids(self) -> tuple[Solid, ...]:
        """As `Piece.solids`."""
        plan = ring(self.from_front, self.from_left)
        corners = turned(upright(plan, self.up[0], self.up[1]), middle(plan), self.turn_deg)
        return (Solid(self.name or self.kind, corners),)
