"""The room as written: a box, a floor outline with slopes, or a mesh."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from .records import FloorCorner, MeshFrame, NamedSurface, Point, Record, SideCheck, Span, TapeCheck
from .units import NonNegativeLength, PositiveLength

LARGEST_ROOM_M = 60.0
"""A control room longer than this is a unit mistake (common practice, no source)."""
SMALLEST_ROOM_M = 1.0


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
            found = "none of them" if not given else " and ".join(given)
            raise ValueError(f"a room is given by one of box, outline or mesh, but here is {found}")
        if self.outline is not None and self.height is None:
            raise ValueError('an outline needs "height", the height of the flat ceiling')
        if self.wall_names is not None and len(self.wall_names) != len(self.outline or ()):
            raise ValueError("wall_names needs one name for each side of the outline, in the same order")
        if self.mesh is not None and self.frame is None:
            raise ValueError('a mesh carries no unit: add [room.frame] with unit = "m" (or mm, cm, in, ft)')
        if self.mesh is not None and not self.tape:
            raise ValueError(
                "the scale of a mesh is confirmed by one tape distance:"
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
