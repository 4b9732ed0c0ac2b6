"""Drawings as a vector PDF, true to scale: outlines, marks, words and dimension lines in millimetres of paper."""

from __future__ import annotations

import datetime
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, RegularPolygon

from sim import __version__
from sim.arrays import FloatArray
from sim.machine.whole_files import write_whole
from sim.responses.plan import Plan
from sim.responses.records import Results
from sim.showing.style import HAIRLINE, INK, PAPER, SOFT_INK, house_style
from sim.studies.sheets.labels import (
    END_LINE_MM,
    MARK_MM,
    PlacedLabel,
    ends_stacked,
    mark_badges,
    placed_labels,
    text_width_mm,
)
from sim.studies.sheets.layout import book_of
from sim.studies.sheets.page_layout import ROW_MM, PlacedDrawing, Sheet, TitleBlock, paper_mm
from sim.studies.sheets.pdf_frame_picture import draw_frame, draw_front_arrow, write, write_words
from sim.studies.sheets.records import Dimension, Layer, Mark, Outline, Remarks, Side

SIZE_PT = 6.5
LEVELS_MM = (0.95, 3.3)
"""Words stand this far above their line; those too long for it stand on the higher level."""
STROKE_MM, GAP_MM, OVER_MM = 0.9, 0.8, 1.2
ALONG_FRACTION = 0.28
"""Where on a slanting line its words stand, so that those of two diagonals do not meet."""
CLEARED = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.3}
"""Extension lines of outer rows do not run through words."""
OUTWARD: dict[Side, tuple[float, float]] = {
    "below": (0.0, -1.0),
    "above": (0.0, 1.0),
    "left": (-1.0, 0.0),
    "right": (1.0, 0.0),
}


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
                place,
                middle,
                float(line[0, 1]) + LEVELS_MM[level],
                member.label,
                SIZE_PT,
                ha="center",
                zorder=6.0,
                bbox=CLEARED,
            )
        else:
            write(
                place,
                float(line[0, 0]) - LEVELS_MM[level],
                middle,
                member.label,
                SIZE_PT,
                ha="right",
                va="center",
                rotation=90.0,
                rotation_mode="default",
                zorder=6.0,
                bbox=CLEARED,
            )


def _slanting(place: Axes, placed: PlacedDrawing, dimension: Dimension) -> None:
    ends = placed.on_paper(np.stack([dimension.start, dimension.end]))
    place.plot(*ends.T, color=INK, linewidth=0.5, linestyle=(0, (8.0, 2.0, 1.5, 2.0)), zorder=4.6)
    spot = ends[0] + ALONG_FRACTION * (ends[1] - ends[0])
    turn = float(np.degrees(np.arctan2(*(ends[1] - ends[0])[::-1])))
    write(
        place,
        float(spot[0]),
        float(spot[1]),
        dimension.label,
        SIZE_PT,
        ha="center",
        va="center",
        rotation=turn,
        rotation_mode="anchor",
        zorder=6.0,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8},
    )


# One drawing on a sheet: outlines, marks, words and dimension lines, everything in millimetres of paper.

POINTS = {"fine": 0.5, "medium": 1.0, "heavy": 2.0}
"""Widths of lines in points: 0.18, 0.35 and 0.7 mm (ISO 128-2)."""
DASHES: dict[str, Any] = {"solid": "-", "dashed": (0, (5.0, 2.5)), "dotted": (0, (1.0, 1.6))}
COLOURS: dict[Layer, str] = {
    "WALLS": INK,
    "OPENINGS": INK,
    "KEEP-CLEAR": INK,
    "FURNITURE": SOFT_INK,
    "LOUDSPEAKERS": INK,
    "PANELS": INK,
    "POINTS": INK,
    "DIMENSIONS": INK,
    "TEXT": INK,
}
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
    above = ends_stacked(drawing, placed.scale)
    for words, x, side in zip(drawing.ends, corners[:, 0], ("left", "right"), strict=True):
        if words:
            inset = 0.8 if side == "left" else -0.8
            lift = 1.6 + (END_LINE_MM if above and side == "right" else 0.0)
            write(place, float(x) + inset, float(corners[1, 1]) + lift, words, SIZE_PT, ha=side)


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
        "square": (4, half * 1.35, np.pi / 4.0),
        "triangle": (3, half * 1.5, 0.0),
        "diamond": (4, half * 1.35, 0.0),
    }
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
        place,
        float(middle[0]),
        float(middle[1]),
        label.label.words,
        label.size_pt,
        bold=label.label.bold,
        ha="center",
        va="center",
        color=COLOURS[label.label.layer],
        zorder=6.0,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6},
    )


# Sheets for the builder as a vector PDF, true to scale, with words that can be searched and copied.
#
# One axes covers each page and counts in millimetres, so that a length on paper is its length in the room divided by
# the scale.  Nothing is drawn as pixels.  The same results, paper and date give the same bytes.

MM_PER_INCH = 25.4
FONTS: Any = {"pdf.fonttype": 42, "pdf.compression": 6, "hatch.linewidth": 0.35, "pdf.use14corefonts": False}
"""Outline fonts, so that words stay words."""


def draw_sheets(
    results: Results, path: Path, paper: str, date: datetime.date, remarks: Remarks, plan: Plan | None = None
) -> Path:
    """Write all sheets of a scene as one PDF.

    Parameters
    ----------
    paper
        "a4", "a3" or "letter"; sheets lie.
    date
        Printed on every sheet, and the file's date of creation.
    remarks
        Assumptions, cautions and what is not judged, for the first sheet.
    plan
        Adds what each step of a treatment plan gains to the parts list.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    block, sheets = book_of(results, paper, date, remarks, plan)
    return write_pages(path, block, sheets, paper, date, "drawings for the builder")


def write_pages(
    path: Path, block: TitleBlock, sheets: Sequence[Sheet], paper: str, date: datetime.date, what: str
) -> Path:
    """Write sheets that are laid out as one PDF; `what` they are stands in its title.  Raises OutputError."""
    made = datetime.datetime(date.year, date.month, date.day, tzinfo=datetime.UTC)
    facts = {
        "Title": f"{block.title}: {what}",
        "Subject": f"scene {block.digest}",
        "Creator": f"bounceplan {__version__}",
        "Producer": f"bounceplan {__version__}",
        "CreationDate": made,
        "ModDate": made,
    }
    whole = io.BytesIO()
    with house_style(), matplotlib.rc_context(FONTS), PdfPages(whole, metadata=facts) as pages:
        for number, sheet in enumerate(sheets, 1):
            pages.savefig(sheet_figure(sheet, block, paper, number, len(sheets)))
    return write_whole(path, whole.getvalue(), "the sheets")


def sheet_figure(sheet: Sheet, block: TitleBlock, paper: str, number: int, count: int) -> Figure:
    """One sheet as a figure as large as its paper; its only axes counts in millimetres from the lower left corner."""
    width, height = paper_mm(paper, upright=sheet.upright)
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), dpi=72, facecolor=PAPER)
    place = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    place.set_xlim(0.0, width)
    place.set_ylim(0.0, height)
    place.set_axis_off()
    for placed in sheet.drawings:
        draw_placed(place, placed)
    for x0, y0, x1, y1 in sheet.rules:
        place.plot([x0, x1], [y0, y1], color=HAIRLINE, linewidth=0.6)
    write_words(place, sheet.words)
    for x, y, way in sheet.arrows:
        draw_front_arrow(place, x, y, way)
    draw_frame(place, sheet, block, paper, f"{number} of {count}")
    return figure
