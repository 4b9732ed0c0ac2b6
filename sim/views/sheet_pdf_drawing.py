"""One drawing on a sheet: outlines, marks, words and dimension lines, everything in millimetres of paper."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon, RegularPolygon

from ..arrays import FloatArray
from ..drawings.labels import MARK_MM, PlacedLabel, mark_badges, placed_labels
from ..drawings.papers import PlacedDrawing
from ..drawings.records import Layer, Mark, Outline
from .sheet_pdf_dimensions import draw_dimensions
from .sheet_pdf_words import write
from .style import HAIRLINE, INK, PAPER, SOFT_INK

POINTS = {"fine": 0.5, "medium": 1.0, "heavy": 2.0}
"""Widths of lines in points: 0.18, 0.35 and 0.7 mm (ISO 128-2)."""
DASHES: dict[str, Any] = {"solid": "-", "dashed": (0, (5.0, 2.5)), "dotted": (0, (1.0, 1.6))}
COLOURS: dict[Layer, str] = {
    "WALLS": INK, "OPENINGS": INK, "KEEP-CLEAR": INK, "FURNITURE": SOFT_INK, "LOUDSPEAKERS": INK, "PANELS": INK,
    "POINTS": INK, "DIMENSIONS": INK, "TEXT": INK,
}  # fmt: skip
ORDER: dict[Layer, float] = {
    "FURNITURE": 2.0,
    "OPENINGS": 2.6,
    "PANELS": 3.0,
    "KEEP-CLEAR": 3.5,
    "LOUDSPEAKERS": 3.6,
    "WALLS": 4.0,
}


def draw_placed(place: Axes, placed: PlacedDrawing) -> None:
    """Draw a drawing where it was put."""
    drawing = placed.drawing
    for outline in drawing.outlines:
        _outline(place, placed, outline)
    for mark, badge in zip(drawing.marks, mark_badges(drawing.marks, placed.scale), strict=True):
        _mark(place, placed.on_paper(mark.place), placed.on_paper(badge), mark)
    for label in placed_labels(drawing, placed.scale):
        _label(place, placed, label)
    draw_dimensions(place, placed)
    corners = placed.on_paper(np.stack([drawing.low, drawing.high]))
    for words, x, side in zip(drawing.ends, corners[:, 0], ("left", "right"), strict=True):
        if words:
            inset = 0.8 if side == "left" else -0.8
            write(place, float(x) + inset, float(corners[1, 1]) + 1.6, words, 6.5, ha=side)


def _outline(place: Axes, placed: PlacedDrawing, outline: Outline) -> None:
    points = placed.on_paper(outline.points)
    colour, order = COLOURS[outline.layer], ORDER.get(outline.layer, 4.0)
    style: dict[str, Any] = {"linewidth": POINTS[outline.weight], "linestyle": DASHES[outline.dash], "zorder": order}
    if not outline.closed:
        place.plot(*points.T, color=colour, solid_capstyle="butt", **style)
        return
    if outline.fill == "hatch":
        place.add_patch(
            Polygon(
                points,
                closed=True,
                facecolor=PAPER,
                edgecolor=HAIRLINE,
                hatch="////",
                linewidth=0.0,
                zorder=order - 0.1,
            )
        )
    face = PAPER if outline.fill == "white" else "none"
    place.add_patch(
        Polygon(points, closed=True, facecolor=face, edgecolor=colour, joinstyle="miter", gid=outline.layer, **style)
    )


def _mark(place: Axes, spot: FloatArray, badge: FloatArray, mark: Mark) -> None:
    """Draw a cross on the spot, and the letter there or, when another is too near, beside it."""
    x, y = float(spot[0]), float(spot[1])
    if mark.shape == "dot":
        place.add_patch(Circle((x, y), 0.55, facecolor=INK, edgecolor="none", zorder=6.5))
        return
    half = 0.5 * MARK_MM
    arms = half + 1.1 if mark.letter else half
    for dx, dy in ((arms, 0.0), (0.0, arms)):
        place.plot([x - dx, x + dx], [y - dy, y + dy], color=INK, linewidth=0.5, zorder=6.4)
    if not mark.letter:
        return
    place.plot([x, float(badge[0])], [y, float(badge[1])], color=INK, linewidth=0.5, zorder=6.4)
    x, y = float(badge[0]), float(badge[1])
    sides = {
        "square": (4, half * 1.35, np.pi / 4.0), "triangle": (3, half * 1.5, 0.0), "diamond": (4, half * 1.35, 0.0)
    }  # fmt: skip
    style: dict[str, Any] = {"facecolor": PAPER, "edgecolor": INK, "linewidth": 0.9, "zorder": 6.6}
    if mark.shape in sides:
        corners, radius, turn = sides[mark.shape]
        place.add_patch(RegularPolygon((x, y), corners, radius=radius, orientation=turn, **style))
    else:
        place.add_patch(Circle((x, y), half, **style))
    size = 6.5 if len(mark.letter) == 1 else 5.0
    write(place, x, y, mark.letter, size, bold=True, ha="center", va="center_baseline", zorder=7.0)


def _label(place: Axes, placed: PlacedDrawing, label: PlacedLabel) -> None:
    middle, spot = placed.on_paper(label.middle), placed.on_paper(label.label.spot)
    if label.hairline:
        place.plot([middle[0], spot[0]], [middle[1], spot[1]], color=SOFT_INK, linewidth=0.4, zorder=5.4)
        place.add_patch(
            Circle((float(spot[0]), float(spot[1])), 0.35, facecolor=SOFT_INK, edgecolor="none", zorder=5.4)
        )
    write(
        place, float(middle[0]), float(middle[1]), label.label.words, label.size_pt, bold=label.label.bold, ha="center",
        va="center", color=COLOURS[label.label.layer], zorder=6.0,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6},
    )  # fmt: skip
