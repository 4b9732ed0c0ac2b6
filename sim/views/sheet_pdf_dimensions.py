"""Dimension lines on sheets: extension lines, strokes at both ends, words that do not run into each other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from ..drawings.letters import text_width_mm
from ..drawings.papers import ROW_MM, PlacedDrawing
from ..drawings.records import Dimension, Side
from .sheet_pdf_words import write
from .style import INK, PAPER

SIZE_PT = 6.5
LEVELS_MM = (0.95, 3.3)
"""Words stand this far above their line; those too long for it stand on the higher level."""
STROKE_MM, GAP_MM, OVER_MM = 0.9, 0.8, 1.2
ALONG_SHARE = 0.28
"""Where on a slanting line its words stand, so that those of two diagonals do not meet."""
CLEARED = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.3}
"""Extension lines of outer rows do not run through words."""
OUTWARD: dict[Side, tuple[float, float]] = {
    "below": (0.0, -1.0), "above": (0.0, 1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)
}  # fmt: skip


def draw_dimensions(place: Axes, placed: PlacedDrawing) -> None:
    """Draw all dimensions of a drawing."""
    rows: dict[tuple[Side, int], list[Dimension]] = {}
    for dimension in placed.drawing.dimensions:
        if dimension.side == "along":
            _slanting(place, placed, dimension)
        else:
            rows.setdefault((dimension.side, dimension.row), []).append(dimension)
    for (side, row), members in rows.items():
        _row(place, placed, side, row, members)


def _row(place: Axes, placed: PlacedDrawing, side: Side, row: int, members: Sequence[Dimension]) -> None:
    out = np.array(OUTWARD[side])
    axis = 0 if side in ("below", "above") else 1
    taken = [-np.inf, -np.inf]
    for member in members:
        feet = placed.on_paper(np.stack([member.start, member.end]))
        line = feet + out * ROW_MM * row
        for foot, end in zip(feet, line, strict=True):
            place.plot(*np.stack([foot + out * GAP_MM, end + out * OVER_MM]).T, color=INK, linewidth=0.35, zorder=4.5)
            stroke = STROKE_MM * np.array([1.0, 1.0])
            place.plot(*np.stack([end - stroke, end + stroke]).T, color=INK, linewidth=0.9, zorder=4.6)
        place.plot(*line.T, color=INK, linewidth=0.5, zorder=4.6)
        width = text_width_mm(member.label, SIZE_PT)
        length = float(abs(line[1, axis] - line[0, axis]))
        middle = float(line[:, axis].mean())
        level = 0 if width + 0.8 <= length else 1
        middle = max(middle, taken[level] + 0.5 * width + 0.8)
        taken[level] = middle + 0.5 * width
        if axis == 0:
            write(
                place, middle, float(line[0, 1]) + LEVELS_MM[level], member.label, SIZE_PT, ha="center", zorder=6.0,
                bbox=CLEARED,
            )  # fmt: skip
        else:
            write(
                place, float(line[0, 0]) - LEVELS_MM[level], middle, member.label, SIZE_PT, ha="right", va="center",
                rotation=90.0, rotation_mode="default", zorder=6.0, bbox=CLEARED,
            )  # fmt: skip


def _slanting(place: Axes, placed: PlacedDrawing, dimension: Dimension) -> None:
    ends = placed.on_paper(np.stack([dimension.start, dimension.end]))
    place.plot(*ends.T, color=INK, linewidth=0.5, linestyle=(0, (8.0, 2.0, 1.5, 2.0)), zorder=4.6)
    spot = ends[0] + ALONG_SHARE * (ends[1] - ends[0])
    turn = float(np.degrees(np.arctan2(*(ends[1] - ends[0])[::-1])))
    write(
        place, float(spot[0]), float(spot[1]), dimension.label, SIZE_PT, ha="center", va="center", rotation=turn,
        rotation_mode="anchor", zorder=6.0, bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8},
    )  # fmt: skip
