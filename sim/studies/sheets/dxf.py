"""All drawings of a scene as one DXF file for CAD programs: millimetres, layers by kind, true dimensions."""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import ezdxf
import numpy as np
from ezdxf import units
from ezdxf.document import Drawing as DxfDocument
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts.layout import Modelspace

from sim.arrays import FloatArray
from sim.machine.whole_files import write_whole
from sim.responses.records import Results
from sim.showing.numbers import unit_words
from sim.studies.sheets.labels import MARK_MM, mark_badges, placed_labels
from sim.studies.sheets.layout import drawings_of
from sim.studies.sheets.page_layout import ROW_MM, SHORT_CAUTIONS, title_block
from sim.studies.sheets.records import LAYERS, Drawing, Layer, Mark, Outline

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
    attributes = {"layer": outline.layer, "linetype": LINE_TYPES[outline.dash], "lineweight": WEIGHTS[outline.weight]}
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
                base=(float(away[0]), float(away[1])),
                p1=points[0],
                p2=points[1],
                angle=0.0 if one.side in ("below", "above") else 90.0,
                text=words,
                dimstyle=DIMENSION_STYLE,
                dxfattribs=attributes,
            )
        dimension.render()


# All drawings of a scene as one DXF file for CAD programs: millimetres, layers by kind, true dimensions.
#
# Drawings stand side by side in model space at their true size; each title says which is which.  The file follows the
# 2010 edition of the format; its unit is set to millimetres.

SCALE: Final = 25.0
"""Words and rows of dimensions have the size that suits a print at 1 to this."""
APART_MM: Final = 1500.0
COLOURS: Final[dict[Layer, int]] = {
    "WALLS": 7,
    "OPENINGS": 5,
    "KEEP-CLEAR": 1,
    "FURNITURE": 8,
    "LOUDSPEAKERS": 6,
    "PANELS": 94,
    "POINTS": 30,
    "DIMENSIONS": 7,
    "TEXT": 7,
}
"""Numbers of the format's own colour table; 7 is black on white and white on black."""
LINE_HUNDREDTHS_MM: Final[dict[Layer, int]] = {
    "WALLS": 70,
    "OPENINGS": 35,
    "KEEP-CLEAR": 35,
    "FURNITURE": 18,
    "LOUDSPEAKERS": 35,
    "PANELS": 50,
    "POINTS": 25,
    "DIMENSIONS": 18,
    "TEXT": 18,
}


def write_dxf(results: Results, path: Path, date: datetime.date) -> None:
    """Write the drawings of a scene as DXF.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_document(dxf_document(results, date), path, "the drawing file")


def write_document(document: DxfDocument, path: Path, what: str) -> None:
    """Write a document whole; OutputError if it cannot be."""
    text = io.StringIO()
    document.write(text)
    write_whole(path, document.encode(text.getvalue()), what)


def new_document() -> DxfDocument:
    """An empty document in millimetres."""
    document = ezdxf.new("R2010", setup=True)  # type: ignore[attr-defined]
    document.units = units.MM
    document.header["$MEASUREMENT"] = 1
    return document


def dxf_document(results: Results, date: datetime.date) -> DxfDocument:
    """Draw everything into a document in memory."""
    document = new_document()
    document.header["$LTSCALE"] = 8.0 * SCALE
    for name in LAYERS:
        document.layers.add(name, color=COLOURS[name], lineweight=LINE_HUNDREDTHS_MM[name])
    unit = results.scene.blueprint.units
    _styles(document)
    space = document.modelspace()
    right = 0.0
    for drawing in drawings_of(results):
        right = _add(space, drawing, right, unit)
    _title(space, results, date)
    document.set_modelspace_vport(height=6000.0, center=(3000.0, 1200.0))
    return document


def _styles(document: DxfDocument) -> None:
    document.styles.add(TEXT_STYLE, font="arial.ttf")
    style = document.dimstyles.new(DIMENSION_STYLE)
    style.dxf.dimtxsty = TEXT_STYLE
    style.dxf.dimtxt = 2.3 * SCALE
    style.dxf.dimtsz = 0.9 * SCALE
    style.dxf.dimexo = 0.8 * SCALE
    style.dxf.dimexe = 1.2 * SCALE
    style.dxf.dimgap = 0.6 * SCALE
    style.dxf.dimtad = 1
    style.dxf.dimtih = 0
    style.dxf.dimtoh = 0
    style.dxf.dimdec = 0
    style.dxf.dimlunit = 2
    style.dxf.dimlfac = 1.0
    style.dxf.dimscale = 1.0


def _add(space: Modelspace, drawing: Drawing, left_mm: float, unit: str) -> float:
    """Add a drawing to the right of what is there, its lower edge at zero; returns where its own right edge lies."""
    margins = [(4.0 + 6.0 * drawing.rows(side)) * SCALE for side in ("left", "right")]
    shift = np.array([left_mm + margins[0], 0.0]) - 1000.0 * drawing.low

    def placed(points: FloatArray) -> FloatArray:
        return np.asarray(1000.0 * points + shift, dtype=np.float64)

    for outline in drawing.outlines:
        add_outline(space, outline, placed, SCALE)
    add_marks(space, drawing, placed, SCALE)
    add_labels(space, drawing, placed, SCALE)
    add_dimensions(space, drawing, placed, SCALE, unit)
    low, high = placed(drawing.low), placed(drawing.high)
    over = high[1] + (6.0 + 6.0 * drawing.rows("above")) * SCALE
    front = {"up": ", front at the top", "left": ", front at the left", "right": ", front at the right", "": ""}
    _write(space, drawing.title + front[drawing.front], (low[0], over + 4.0 * SCALE), 4.0)
    _write(space, drawing.words, (low[0], over), 2.3)
    for words, x, align in zip(drawing.ends, (low[0], high[0]), ("LEFT", "RIGHT"), strict=True):
        if words:
            _write(space, words, (x, high[1] + 1.6 * SCALE), 2.0, align=align)
    widest = max([len(drawing.words) * 2.3 * 0.8 * SCALE, *_table(space, drawing, low[0])])
    return float(max(high[0] + margins[1], low[0] + widest) + APART_MM)


def _table(space: Modelspace, drawing: Drawing, left: float) -> list[float]:
    """Write the tables of a drawing under its dimensions; returns their widths."""
    down = -(10.0 + 6.0 * drawing.rows("below")) * SCALE
    widths = [0.0]
    for table in drawing.tables:
        _write(space, table.title, (left, down), 2.6)
        down -= 4.5 * SCALE
        cells: Sequence[tuple[str, ...]] = (table.headings, *table.rows) if table.headings else ()
        columns = [max(len(row[n]) for row in cells) * 1.7 + 4.0 for n in range(len(table.headings))] if cells else []
        for row in cells:
            for words, start in zip(row, np.cumsum([0.0, *columns]), strict=False):
                if words:
                    _write(space, words, (left + float(start) * SCALE, down), 2.0)
            down -= 3.6 * SCALE
        for note in table.notes:
            _write(space, note, (left, down), 1.8)
            down -= 3.4 * SCALE
        widths += [sum(columns) * SCALE, max((len(note) for note in table.notes), default=0) * 1.5 * SCALE]
        down -= 3.0 * SCALE
    return widths


def _title(space: Modelspace, results: Results, date: datetime.date) -> None:
    """Write what stands in the title block of printed sheets, above the first drawing."""
    block = title_block(results, date)
    lines = (
        block.title,
        f"Date {block.date}, scene {block.digest}, {block.version}. File in millimetres; on the drawings: "
        f"{unit_words(results.scene.blueprint.units).lower()}.",
        *([block.demo] if block.demo else []),
        *results.built.warnings,
        block.not_judged,
        *SHORT_CAUTIONS.replace(". ", ".\n").splitlines(),
    )
    top = 1000.0 * results.built.room.triangles[results.built.room.owner_of_triangle == 0].max() + 60.0 * SCALE
    for number, line in enumerate(lines):
        size = 5.0 if number == 0 else 2.3
        _write(space, line, (0.0, top + (len(lines) - number) * 4.5 * SCALE), size)


def _write(space: Modelspace, words: str, place: tuple[float, float], size_mm: float, *, align: str = "LEFT") -> None:
    text = space.add_text(cad_words(words), height=size_mm * SCALE, dxfattribs={"layer": "TEXT", "style": TEXT_STYLE})
    text.set_placement((float(place[0]), float(place[1])), align=TextEntityAlignment[align])
