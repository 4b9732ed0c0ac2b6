"""Panels as written: rectangles that hang on surfaces of the room and take sound away from the reflection there."""

from __future__ import annotations

from pydantic import Field

from .records import Record, Span


class Panel(Record):
    """An absorber on a wall, slope or ceiling; its thickness is that of its material's layers."""

    name: str
    surface: str = Field(description='the surface it hangs on, for example "left wall"')
    from_front: Span | None = None
    from_left: Span | None = None
    up: Span | None = None
    material: str = Field(description="a layered material from [materials], or a build-up of the library")
    movable: bool = Field(default=False, description="it can be taken away, and so may stand over an opening")
    note: str = Field(default="", description="how it is fixed, or what to mind")
