"""Parts of a drawing as entities of the DXF format, at true size in millimetres."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts.layout import Modelspace

from ..arrays import FloatArray
from ..drawings.labels import MARK_MM, mark_badges, placed_labels
from ..drawings.papers import ROW_MM
from ..drawings.records import Drawing, Mark, Outline

Place = Callable[[FloatArray], FloatArray]
"""From metres on the drawing to millimetres in the file."""
TEXT_STYLE: Final = "SHEETS"
DIMENSION_STYLE: Final = "SHEETS"
LINE_TYPES: Final = {"solid": "CONTINUOUS", "dashed": "DASHED", "dotted": "DOT"}
WEIGHTS: Final = {"fine": 18, "medium": 35, "heavy": 70}
"""Widths of lines in hundredths of a millimetre (ISO 128-2)."""
LETTER_MM: Final = 2.0
HATCH_MM: Final = 2.5
OUTWARD: Final = {"below": (0.0, -1.0), "above": (0.0, 1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)}


def add_outline(space: Modelspace, outline: Outline, place: Place, scale: float) -> None:
    """Add a line; panels are hatched too."""
    points = [(float(x), float(y)) for x, y in place(outline.points)]
    attributes = {
        "layer": outline.layer, "linetype": LINE_TYPES[outline.dash], "lineweight": WEIGHTS[outline.weight]
    }  # fmt: skip
    space.add_lwpolyline(points, close=outline.closed, dxfattribs=attributes)
    if outline.fill == "hatch":
        hatch = space.add_hatch(color=256, dxfattribs={"layer": outline.layer, "lineweight": 13})
        hatch.set_pattern_fill("ANSI31", scale=HATCH_MM * scale / 3.175)
        hatch.paths.add_polyline_path(points, is_closed=True)


def add_marks(space: Modelspace, drawing: Drawing, place: Place, scale: float) -> None:
    """Add a POINT at each mark's exact place, and its sign with the letter round or beside it."""
    half = 0.5 * MARK_MM * scale
    for mark, badge in zip(drawing.marks, mark_badges(drawing.marks, scale), strict=True):
        x, y = (float(value) for value in place(mark.place))
        attributes = {"layer": mark.layer}
        space.add_point((x, y), dxfattribs=attributes)
        if mark.shape == "dot":
            space.add_circle((x, y), 0.5 * scale, dxfattribs=attributes)
            continue
        arms = half + (1.1 * scale if mark.letter else 0.0)
        space.add_line((x - arms, y), (x + arms, y), dxfattribs=attributes)
        space.add_line((x, y - arms), (x, y + arms), dxfattribs=attributes)
        if mark.letter:
            _letter(space, mark, place(badge), half, scale)


def cad_words(words: str) -> str:
    r"""Words as they mean themselves in a drawing: there two percent signs, a caret or a backslash begin a code.

    The codes of the DXF reference for TEXT and MTEXT: %%u underlines, ^J breaks the line, \U+ names a character.
    """
    return words.replace("%%", "% % ").replace("^", "^ ").replace("\\", "/")


def _letter(space: Modelspace, mark: Mark, badge: FloatArray, half: float, scale: float) -> None:
    x, y = float(badge[0]), float(badge[1])
    corners = {"square": (4, 0.25), "triangle": (3, 0.25), "diamond": (4, 0.0)}
    if mark.shape in corners:
        count, start = corners[mark.shape]
        turns = 2.0 * np.pi * (np.arange(count) / count + (0.125 if mark.shape == "square" else start))
        ring = [(x + 1.3 * half * float(np.cos(turn)), y + 1.3 * half * float(np.sin(turn))) for turn in turns]
        space.add_lwpolyline(ring, close=True, dxfattribs={"layer": mark.layer})
    else:
        space.add_circle((x, y), half, dxfattribs={"layer": mark.layer})
    text = space.add_text(
        cad_words(mark.letter), height=LETTER_MM * scale, dxfattribs={"layer": mark.layer, "style": TEXT_STYLE}
    )
    text.set_placement((x, y), align=TextEntityAlignment.MIDDLE_CENTER)


def add_labels(space: Modelspace, drawing: Drawing, place: Place, scale: float) -> None:
    """Add words where they keep out of each other's way at a print of 1 to `scale`."""
    for one in placed_labels(drawing, scale):
        x, y = (float(value) for value in place(one.middle))
        attributes = {"layer": one.label.layer, "style": TEXT_STYLE}
        if one.hairline:
            spot = place(one.label.spot)
            space.add_line((x, y), (float(spot[0]), float(spot[1])), dxfattribs={"layer": "TEXT", "lineweight": 13})
        size = 2.6 if one.label.bold else LETTER_MM
        text = space.add_text(cad_words(one.label.words), height=size * scale, dxfattribs=attributes)
        text.set_placement((x, y), align=TextEntityAlignment.MIDDLE_CENTER)


def add_dimensions(space: Modelspace, drawing: Drawing, place: Place, scale: float, unit: str) -> None:
    """Add true dimensions: what they measure is the length; in feet and inches the words are given beside it."""
    for one in drawing.dimensions:
        start, end = place(one.start), place(one.end)
        words = one.label if unit in ("in", "ft") else "<>"
        points = [(float(point[0]), float(point[1])) for point in (start, end)]
        attributes = {"layer": "DIMENSIONS"}
        if one.side == "along":
            dimension = space.add_aligned_dim(
                points[0], points[1], distance=0.0, text=words, dimstyle=DIMENSION_STYLE, dxfattribs=attributes
            )
        else:
            away = start + np.array(OUTWARD[one.side]) * ROW_MM * one.row * scale
            dimension = space.add_linear_dim(
                base=(float(away[0]), float(away[1])), p1=points[0], p2=points[1],
                angle=0.0 if one.side in ("below", "above") else 90.0, text=words, dimstyle=DIMENSION_STYLE,
                dxfattribs=attributes,
            )  # fmt: skip
        dimension.render()
