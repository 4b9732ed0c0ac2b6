"""A sofa or armchair."""

from __future__ import annotations

from typing import ClassVar, Literal, final

from pydantic import Field

from sim.blueprint.pieces import BearsNothing, Reading, Spanned
from sim.blueprint.prisms import Solid, ring, upright
from sim.blueprint.records import Span
from sim.blueprint.units import PositiveLength
from sim.errors import SceneError


@final
class Sofa(Spanned, BearsNothing):
    """A seat block with a back on one side."""

    rank: ClassVar[int] = 40
    kind: Literal["sofa"]
    name: str = "sofa"
    from_front: Span
    from_left: Span
    seat_height: PositiveLength = 0.42
    back_height: PositiveLength = 0.80
    back_depth: PositiveLength = 0.22
    back: Literal["rear", "front", "left", "right"] = Field(default="rear", description="side the back is on")
    material: str = "upholstered seat"

    def readings(self) -> tuple[Reading, ...]:
        """As `Piece.readings`."""
        return (*self.edges, Reading("back_height", "height", ("back_height",)))

    @property
    def adjustable(self) -> bool:
        """As `Piece.adjustable`."""
        return False

    @property
    def cuttable(self) -> tuple[str, ...]:
        """As `Piece.cuttable`."""
        return ()

    def solids(self) -> tuple[Solid, ...]:
        """Build a seat block and a back block that touch and do not overlap."""
        where = f'furniture "{self.name}"'
        depth, across = self.from_front, self.from_left
        along = depth if self.back in ("rear", "front") else across
        if self.back_depth >= along[1] - along[0]:
            raise SceneError(
                f"{where}: back_depth",
                f"a back of {self.back_depth:.2f} m leaves no seat in {along[1] - along[0]:.2f} m",
                "make back_depth smaller than the sofa in that direction",
            )
        if self.back in ("rear", "right"):
            split = along[1] - self.back_depth
            seat_span, back_span = (along[0], split), (split, along[1])
        else:
            split = along[0] + self.back_depth
            seat_span, back_span = (split, along[1]), (along[0], split)
        by_depth = self.back in ("rear", "front")
        blocks = (("seat", seat_span, self.seat_height), ("back", back_span, self.back_height))
        return tuple(
            Solid(f"{self.name} {part}", upright(ring(span, across) if by_depth else ring(depth, span), 0.0, height))
            for part, span, height in blocks
        )
