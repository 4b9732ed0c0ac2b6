"""Panels as written: rectangles that hang on surfaces of the room and take sound away from the reflection there."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from .records import Record, Span
from .units import NonNegativeLength

Mass = Annotated[float, Field(gt=0.0, le=500.0)]
Price = Annotated[float, Field(ge=0.0)]


class Panel(Record):
    """An absorber on a wall, slope or ceiling; it stands out by its material's layers and the gap behind it."""

    name: str
    surface: str = Field(description='the surface it hangs on, for example "left wall"')
    from_front: Span | None = None
    from_left: Span | None = None
    up: Span | None = None
    material: str = Field(
        description='a layered material from [materials], a build-up of the library, or words: "100 mm wool"'
    )
    gap: NonNegativeLength = Field(
        default=0.0, description="air between its back and the surface; how far a cloud hangs below the ceiling"
    )
    movable: bool = Field(default=False, description="it can be taken away, and so may stand over an opening")
    held_by: Literal["surface", "stand", "posts"] = Field(
        default="surface", description="fixed to its surface, or standing before it where nothing may be drilled"
    )
    fixings: str = Field(default="", description="how it is fixed; has to be told when any of it is over heads")
    mass_kg: Mass | None = Field(default=None, description="whole mass; left out, an estimate from its layers")
    price: Price | None = Field(default=None, description="of one, in whatever currency you plan in")
    note: str = Field(default="", description="what to mind")
