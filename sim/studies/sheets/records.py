"""What a drawing is made of: lines, marks, words and dimensions in metres on paper that knows no scale yet.

Coordinates (n, 2) run to the right and up on the paper.  Layers keep one kind of thing together, so that whoever opens
the file can hide it.  Nothing here knows how it is printed or stored.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sim.arrays import FloatArray

Layer = Literal[
    "WALLS", "OPENINGS", "KEEP-CLEAR", "FURNITURE", "LOUDSPEAKERS", "PANELS", "POINTS", "DIMENSIONS", "TEXT"
]
LAYERS: tuple[Layer, ...] = (
    "WALLS",
    "OPENINGS",
    "KEEP-CLEAR",
    "FURNITURE",
    "LOUDSPEAKERS",
    "PANELS",
    "POINTS",
    "DIMENSIONS",
    "TEXT",
)
Side = Literal["below", "above", "left", "right", "along"]
"""Where a dimension line runs: outside the drawing on one side, or beside its two points."""
Dash = Literal["solid", "dashed", "dotted"]
Weight = Literal["fine", "medium", "heavy"]
Shape = Literal["circle", "square", "triangle", "diamond", "cross", "dot"]


@dataclass(frozen=True, slots=True)
class Outline:
    """A line through points (n, 2); a closed one may be hatched, or white so that it hides what lies behind it."""

    points: FloatArray
    layer: Layer
    closed: bool = True
    dash: Dash = "solid"
    weight: Weight = "medium"
    fill: Literal["none", "hatch", "white"] = "none"
    arrow: bool = False


@dataclass(frozen=True, slots=True)
class Mark:
    """A point (2,) with a letter; shapes tell loudspeakers apart where there is no colour."""

    place: FloatArray
    letter: str
    shape: Shape
    layer: Layer = "POINTS"


@dataclass(frozen=True, slots=True)
class Label:
    """Words that belong to a spot (2,); they stand on it, or near it with a hairline when it is taken."""

    words: str
    spot: FloatArray
    layer: Layer = "TEXT"
    bold: bool = False
    upright: bool = False


@dataclass(frozen=True, slots=True)
class Dimension:
    """A length between two points (2,) of the drawing, measured along the side it stands on.

    row counts outward from the drawing, 1 first; value_m is what a tape shows, label what is written.
    """

    start: FloatArray
    end: FloatArray
    side: Side
    row: int
    value_m: float
    label: str


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of words under headings, printed beside or under a drawing; notes follow it as sentences."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Drawing:
    """One view.

    Attributes
    ----------
    title, words
        What it shows, and from where it is seen.
    low, high
        (2,) corners of the rectangle that dimensions stay outside of.
    ends
        What lies at the left and right end (written above the drawing's upper corners).
    tables
        What is printed with it.
    front
        Which way the front of the room lies on the paper; empty where that has no meaning.
    minor
        Whether it may share a sheet.
    """

    title: str
    words: str
    low: FloatArray
    high: FloatArray
    outlines: tuple[Outline, ...]
    marks: tuple[Mark, ...] = ()
    labels: tuple[Label, ...] = ()
    dimensions: tuple[Dimension, ...] = ()
    ends: tuple[str, str] = ("", "")
    front: Literal["", "up", "left", "right"] = ""
    tables: tuple[Table, ...] = ()
    minor: bool = False

    @property
    def has_something(self) -> bool:
        """Whether anything is on it that one hangs, marks, measures or keeps clear; what stands before it is not."""
        before = ("WALLS", "FURNITURE", "LOUDSPEAKERS")
        return bool(self.marks or self.tables or any(outline.layer not in before for outline in self.outlines))

    def rows(self, side: Side) -> int:
        """How many rows of dimensions stand on a side."""
        return max((dimension.row for dimension in self.dimensions if dimension.side == side), default=0)


@dataclass(frozen=True, slots=True)
class Remarks:
    """What is said with every sheet: sentences on what was assumed, what is not judged, what to mind."""

    assumptions: tuple[str, ...]
    not_judged: tuple[str, ...]
    cautions: tuple[str, ...]
