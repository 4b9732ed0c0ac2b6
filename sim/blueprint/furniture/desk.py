"""A desk or console top."""

from __future__ import annotations

import math
from typing import ClassVar, Final, Literal, final

import numpy as np
from pydantic import Field

from sim.blueprint.pieces import Hinge, Reading, Top, Turn
from sim.blueprint.prisms import Solid, middle, ring, turned
from sim.blueprint.records import Span
from sim.blueprint.units import PositiveLength
from sim.errors import SceneError

PANEL_THICKNESS_M: Final = 0.02
"""Thickness of the panel that closes a desk below its far edge (common board, common practice, no source)."""


@final
class Desk(Top):
    """A desk or console top: a plate, open below, closed by a far panel, or solid down to the floor.

    Its listener-side edge is a hinge: that edge stays at the height `top`, and a positive tilt_deg raises the far one.
    `from_front` are both edges as they stand, so that a tape hung from either reads it on a tilted desk too.
    """

    rank: ClassVar[int] = 10
    kind: Literal["desk"]
    name: str = "desk"
    from_front: Span = Field(description="far edge and listener-side edge, in plan")
    from_left: Span = Field(description="left end and right end")
    top: PositiveLength = Field(description="height of the top at its listener-side edge")
    thickness: PositiveLength = 0.03
    tilt_deg: float = Field(
        default=0.0,
        ge=-45.0,
        le=45.0,
        description="slope of the top about its listener-side edge, which stays; positive: the far edge rises",
    )
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

    @property
    def worked_at(self) -> bool:
        """As `Piece.worked_at`."""
        return True

    def readings(self) -> tuple[Reading, ...]:
        """As `Piece.readings`."""
        return (*self.edges, Reading("height", "height", ("top",), lifts=True))

    @property
    def adjustable(self) -> bool:
        """As `Piece.adjustable`."""
        return True

    @property
    def cuttable(self) -> tuple[str, ...]:
        """As `Piece.cuttable`."""
        return ("from_front", "from_left")

    def hinge(self) -> Hinge:
        """As `Piece.hinge`."""
        return Hinge(f"{self.name} top", self.tilt_deg, self.turn_deg, self.top, self.rise_at)

    def solids(self) -> tuple[Solid, ...]:
        """Build plate, plate with a far panel, or a prism down to the floor.

        The listener-side edge of the top is the hinge: `top` is its height, and a positive tilt raises the far edge
        without changing the plan of the top.  The plate's thickness is measured normal to the top.
        """
        where = f'furniture "{self.name}"'
        plan = ring(self.from_front, self.from_left)
        tilt = np.radians(self.tilt_deg)
        far, near = self.from_front
        far_height = self.top + (near - far) * float(np.tan(tilt))
        top = np.column_stack([plan, [far_height, far_height, self.top, self.top]])
        if self.front == "solid":
            if far_height <= 0.0:
                raise SceneError(
                    f"{where}: tilt_deg",
                    f"a tilt of {self.tilt_deg:g} degrees over {near - far:.2f} m puts the far edge in the floor",
                    "use a smaller tilt (positive raises the far edge)",
                )
            solid = np.concatenate([np.column_stack([plan, np.zeros(4)]), top])
            return (Solid(self.name, turned(solid, middle(plan), self.turn_deg)),)

        normal = np.array([np.sin(tilt), 0.0, np.cos(tilt)])
        below = top - self.thickness * normal
        if below[:, 2].min() < 0.0:
            raise SceneError(
                f"{where}: top",
                f"the underside of the top would lie {-below[:, 2].min():.3f} m below the floor",
                'raise "top", or make thickness or tilt smaller',
            )
        plate = Solid(self.name, turned(np.concatenate([below, top]), middle(plan), self.turn_deg))
        if self.front == "open" or below[0, 2] <= 0.0:
            return (plate,)
        # The panel's upper end follows the underside, so that nothing overlaps and no slit is left.
        under = float(below[0, 0])
        panel_plan = ring((under, under + PANEL_THICKNESS_M), self.from_left)
        drop = PANEL_THICKNESS_M * float(np.tan(tilt))
        heights = below[0, 2] - np.array([0.0, 0.0, drop, drop])
        if heights.min() <= 0.0:
            return (plate,)
        panel = np.concatenate([np.column_stack([panel_plan, np.zeros(4)]), np.column_stack([panel_plan, heights])])
        return plate, Solid(f"{self.name} panel", turned(panel, middle(plan), self.turn_deg))
