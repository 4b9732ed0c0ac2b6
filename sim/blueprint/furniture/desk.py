"""A desk or console top."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import ClassVar, Final, Literal, Self, final

import numpy as np
from pydantic import Field, model_validator

from sim.acoustics.layers import PerforatedSheet
from sim.arrays import FloatArray
from sim.blueprint.pieces import Hinge, Reading, Top, Turn
from sim.blueprint.prisms import Solid, middle, ring, turned
from sim.blueprint.records import Record, Span
from sim.blueprint.units import PositiveLength
from sim.errors import SceneError

Rectangle = tuple[tuple[float, float], tuple[float, float]]
"""A part of a top: from_front and from_left."""


class CutOut(Record):
    """A rectangle of a desk's top that is not there."""

    from_front: Span
    from_left: Span


class Holes(Record):
    """Round holes on a square grid."""

    hole: PositiveLength = Field(description="diameter of the holes")
    pitch: PositiveLength = Field(description="holes from centre to centre")

    @model_validator(mode="after")
    def _holes_apart(self) -> Self:
        if not self.hole < self.pitch:
            raise ValueError("its holes meet; give a pitch above the diameter of the holes")
        return self


LEAST_PART_M: Final = 0.005
"""What is narrower is nothing that a saw leaves (our choice)."""
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
    top_material: str | None = Field(default=None, description="of the upper face alone, such as a mat or felt")
    perforated: Holes | None = Field(default=None, description="a perforated top: its holes")
    split: Span | None = Field(default=None, description="from_left of a gap between a left and a right half")
    cut_outs: tuple[CutOut, ...] = Field(default=(), description="rectangles of the top that are not there")

    @model_validator(mode="after")
    def _tops_agree(self) -> Self:
        if self.perforated is not None and (self.top_material is not None or self.front == "solid"):
            other = 'front = "solid"' if self.top_material is None else "top_material"
            raise ValueError(f"it has perforated and {other}, which cannot both be; leave one of them out")
        if self.front == "solid" and self.gaps:
            raise ValueError('it has gaps in the top and front = "solid"; write front = "open", or leave them out')
        if not _rest(self.from_front, self.from_left, self.gaps):
            raise ValueError("split and cut_outs leave nothing of its top; make them smaller")
        return self

    @property
    def gaps(self) -> tuple[Rectangle, ...]:
        """Rectangles that are missing: from_front and from_left of each."""
        halves = () if self.split is None else ((self.from_front, self.split),)
        return (*halves, *((one.from_front, one.from_left) for one in self.cut_outs))

    @property
    def also_of(self) -> Mapping[str, str]:
        """As `Piece.also_of`."""
        return {} if self.top_material is None else {"top_material": self.top_material}

    @property
    def sheets(self) -> Mapping[str, PerforatedSheet]:
        """As `Piece.sheets`."""
        if self.perforated is None:
            return {}
        sheet = PerforatedSheet.with_pitch(self.thickness, self.perforated.hole, self.perforated.pitch)
        return {f"perforated top of {self.name}": sheet}

    def moved(self, step_m: tuple[float, float, float]) -> Self | None:
        """As `Piece.moved`; gaps in the top move along."""
        made = super().moved(step_m)
        if made is None or not self.gaps:
            return made

        def along(span: Span, by: float) -> Span:
            return span[0] + by, span[1] + by

        depth, across, _ = step_m
        moved = [
            one.model_copy(
                update={"from_front": along(one.from_front, depth), "from_left": along(one.from_left, across)}
            )
            for one in self.cut_outs
        ]
        split = None if self.split is None else along(self.split, across)
        return made.model_copy(update={"cut_outs": tuple(moved), "split": split})

    def beyond_m(self, from_front: float, from_left: float) -> float:
        """As `Piece.beyond_m`; over a gap it is how far the gap's nearest edge is."""
        beyond = super().beyond_m(from_front, from_left)
        depth, across = self.own_plan(from_front, from_left)
        for (far, near), (left, right) in self.gaps:
            beyond = max(beyond, min(depth - far, near - depth, across - left, right - across))
        return beyond

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
        plates = self._plates(normal)
        if self.front == "open" or below[0, 2] <= 0.0:
            return plates
        # The panel's upper end follows the underside, so that nothing overlaps and no slit is left.
        under = float(below[0, 0])
        panel_plan = ring((under, under + PANEL_THICKNESS_M), self.from_left)
        drop = PANEL_THICKNESS_M * float(np.tan(tilt))
        heights = below[0, 2] - np.array([0.0, 0.0, drop, drop])
        if heights.min() <= 0.0:
            return plates
        panel = np.concatenate([np.column_stack([panel_plan, np.zeros(4)]), np.column_stack([panel_plan, heights])])
        return (*plates, Solid(f"{self.name} panel", turned(panel, middle(plan), self.turn_deg)))

    def _plates(self, normal: FloatArray) -> tuple[Solid, ...]:
        """The top, in as many rectangles as its gaps leave: the largest has the desk's name, others a number too."""
        about = middle(ring(self.from_front, self.from_left))
        slope, near_edge = float(np.tan(np.radians(self.tilt_deg))), self.from_front[1]
        faces = {"top": self.top_material} if self.top_material is not None else {}
        for name in self.sheets:
            faces = {"top": name, "underside": name}
        plates = []
        for number, (depth, across) in enumerate(_rest(self.from_front, self.from_left, self.gaps), start=1):
            plan = ring(depth, across)
            top = np.column_stack([plan, self.top + (near_edge - plan[:, 0]) * slope])
            corners = np.concatenate([top - self.thickness * normal, top])
            name = self.name if number == 1 else f"{self.name} {number}"
            plates.append(Solid(name, turned(corners, about, self.turn_deg), materials=faces))
        return tuple(plates)


def _rest(depth: tuple[float, float], across: tuple[float, float], gaps: Sequence[Rectangle]) -> list[Rectangle]:
    """What rectangles leave of one, in rectangles that only touch, the largest first: strips from left to right."""
    lines = sorted({*across, *(min(max(end, across[0]), across[1]) for _, ends in gaps for end in ends)})
    found: list[Rectangle] = []
    for left, right in itertools.pairwise(lines):
        free = [depth]
        for (far, near), (low, high) in gaps:
            if low < 0.5 * (left + right) < high:
                parts = [part for a, b in free for part in ((a, min(b, far)), (max(a, near), b))]
                free = [part for part in parts if part[1] > part[0]]
        for part in free:
            before = next((n for n, one in enumerate(found) if one[0] == part and one[1][1] == left), None)
            if before is None:
                found.append((part, (left, right)))
            else:
                found[before] = (part, (found[before][1][0], right))
    thin = [one for one in found if min(one[0][1] - one[0][0], one[1][1] - one[1][0]) > LEAST_PART_M]
    return sorted(thin, key=lambda one: -(one[0][1] - one[0][0]) * (one[1][1] - one[1][0]))
