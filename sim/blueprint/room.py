"""The room as written: a box, a floor outline with slopes, or a mesh."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sim.blueprint.records import FloorCorner, MeshFrame, NamedSurface, Point, Record, SideCheck, Span, TapeCheck
from sim.blueprint.units import LARGEST_LENGTH_M, NonNegativeLength, PositiveLength

LARGEST_ROOM_M = LARGEST_LENGTH_M
SMALLEST_ROOM_M = 1.0
"""Inside sizes below this are a unit mistake (common practice, no source)."""


class BoxRoom(Record):
    """Inside sizes of a rectangular room."""

    width: PositiveLength = Field(description="left wall to right wall")
    depth: PositiveLength = Field(description="front wall to rear wall")
    height: PositiveLength = Field(description="floor to ceiling")


class Slope(Record):
    """A sloped plane that cuts the room: it starts on a wall at a height and rises inward."""

    name: str
    wall: str = Field(description="name of the wall it starts on")
    starts_at_height: PositiveLength = Field(description="height of its lower edge on that wall")
    angle_deg: float = Field(gt=0.0, lt=90.0, description="steepness against the horizontal")


class Room(Record):
    """Exactly one of `box`, `outline` (with `height`) or `mesh` (with `frame` and a tape distance)."""

    box: BoxRoom | None = None
    outline: tuple[FloorCorner, ...] | None = Field(default=None, min_length=3)
    height: PositiveLength | None = Field(default=None, description="flat ceiling height of an outline room")
    wall_names: tuple[str, ...] | None = Field(default=None, description="one name for each outline side")
    slopes: tuple[Slope, ...] = ()
    mesh: str | None = Field(default=None, description="OBJ, PLY, STL or GLB file in the scene's folder")
    frame: MeshFrame | None = None
    tape: tuple[TapeCheck, ...] = ()
    side_check: SideCheck | None = None
    repair: bool = Field(default=False, description="turn flipped faces and drop zero-area triangles")
    allow_open: bool = Field(default=False, description="accept a mesh with holes; sound leaves through them")
    surfaces: tuple[NamedSurface, ...] = ()
    materials: dict[str, str] = Field(
        default_factory=dict,
        description='surface name, or "walls", "ceiling", "floor", "all", to material name',
    )
    reverberation_time_s: Annotated[float, Field(gt=0.0, lt=10.0)] | None = Field(
        default=None, description="measured mid-band decay time, for the transition frequency"
    )

    @model_validator(mode="after")
    def _one_way_only(self) -> Self:
        given = [key for key in ("box", "outline", "mesh") if getattr(self, key) is not None]
        if len(given) != 1:
            found = "nothing tells its shape" if not given else f"its shape is given by {' and '.join(given)}"
            raise ValueError(
                f"{found}; give exactly one of box = {{ width = 3.40, depth = 4.20, height = 2.40 }},"
                ' outline (with height) or mesh = "room.obj"'
            )
        if self.outline is not None and self.height is None:
            raise ValueError("the outline has no height; add height = 2.40, that of the flat ceiling")
        if self.wall_names is not None and len(self.wall_names) != len(self.outline or ()):
            raise ValueError(
                f"wall_names has {len(self.wall_names)} names and the outline {len(self.outline or ())} sides;"
                " give one name for each side, in the same order"
            )
        if self.slopes and self.mesh is not None:
            raise ValueError("a mesh room has slopes of its own; leave [[room.slopes]] out")
        if self.mesh is not None and self.frame is None:
            raise ValueError('the mesh has no unit; add [room.frame] with unit = "m" (or mm, cm, in, ft)')
        if self.mesh is not None and not self.tape:
            raise ValueError(
                "nothing confirms the scale of the mesh; measure one distance with a tape and"
                ' add tape = [{ along = "depth", distance = 5.40 }]'
            )
        return self


class Opening(Record):
    """A window, door or hatch: a rectangle in a surface, with what moves in front of it."""

    name: str
    kind: Literal["window", "door", "sliding door", "hatch", "opening"]
    surface: str = Field(description='the surface it is in, for example "left wall" or "floor"')
    from_front: Span | None = None
    from_left: Span | None = None
    up: Span | None = None
    material: str | None = Field(default=None, description="what sound meets there; default by kind")
    swing: NonNegativeLength = Field(default=0.0, description="how far a leaf swings into the room")
    must_open: bool = True
    escape: bool = Field(default=False, description="a way out that nothing may block")
    panel_may_slide: bool = Field(
        default=False, description="a panel that anyone slides or rolls away in one movement may stand before it"
    )


class KeepClear(Record):
    """A zone that later panels must respect: lamp, heater, alarm, sprinkler, vent, exit, cable."""

    name: str
    kind: Literal["lamp", "heater", "exit", "alarm", "sprinkler", "vent", "cable", "other"] = "other"
    from_front: Span
    from_left: Span
    up: Span
    clearance: NonNegativeLength = 0.0


class SecondSeat(Record):
    """Another seat that is judged by itself, such as a client's sofa."""

    name: str = "second seat"
    ear: Point
