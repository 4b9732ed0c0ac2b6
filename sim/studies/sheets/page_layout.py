"""Sheets of paper: sizes, scales, which drawings and tables stand where in millimetres, and what every sheet says.

Coordinates on a sheet run from its lower left corner to the right and up.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from sim import __version__
from sim.arrays import FloatArray
from sim.blueprint.reader import SceneFile
from sim.blueprint.units import is_imperial
from sim.responses.records import Results
from sim.showing.numbers import unit_words
from sim.studies.sheets.labels import line_height_mm, text_width_mm, wrapped
from sim.studies.sheets.records import Drawing, Remarks, Table

PAPERS_MM: Final[dict[str, tuple[float, float]]] = {
    "a4": (297.0, 210.0),
    "a3": (420.0, 297.0),
    "letter": (279.4, 215.9),
}
"""Width and height lying (ISO 216, ANSI/ASME Y14.1)."""
SCALES: Final = (10, 20, 25, 50, 100, 200)
"""1 to this; the first that fits is taken (ISO 5455, and 1:25, which rules have too)."""
INCH_SCALES: Final[dict[int, str]] = {
    12: "1",
    16: "3/4",
    24: "1/2",
    32: "3/8",
    48: "1/4",
    64: "3/16",
    96: "1/8",
    192: "1/16",
}
"""The same for scenes in inches and feet, and the inches that stand for one foot (common practice, no source)."""
FRAME_MM, TITLE_BLOCK_MM, CAUTION_MM = 6.0, 18.0, 10.0
FIRST_ROW_MM, ROW_MM = 4.0, 6.0
"""From a drawing to its first row of dimensions, and from row to row."""
HEADING_MM, ENDS_MM, GAP_MM = 11.0, 5.0, 6.0
TABLE_PT, HEAD_PT, NOTE_PT = 6.5, 7.5, 6.2
COLUMN_GAP_MM = 3.0
SIDES = ("left", "below", "right", "above")


@dataclass(frozen=True, slots=True)
class Words:
    """One line of words; x and y in millimetres are where its baseline starts."""

    text: str
    x_mm: float
    y_mm: float
    size_pt: float
    bold: bool = False


@dataclass(frozen=True, slots=True)
class PlacedDrawing:
    """A drawing at 1 to `scale`; corner_mm (2,) is where its lower left corner (`drawing.low`) comes to lie."""

    drawing: Drawing
    scale: float
    corner_mm: FloatArray

    def on_paper(self, points: FloatArray) -> FloatArray:
        """Millimetres (..., 2) on the sheet of points (..., 2) of the drawing."""
        return np.asarray(self.corner_mm + (points - self.drawing.low) * 1000.0 / self.scale, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Sheet:
    """What is on one sheet inside its frame: drawings, lines of words, and rules (x0, y0, x1, y1).

    arrows (x, y, way) point to the front of the room: way is "up", "left" or "right".  upright: the paper stands.
    """

    name: str
    drawings: tuple[PlacedDrawing, ...] = ()
    words: tuple[Words, ...] = ()
    rules: tuple[tuple[float, float, float, float], ...] = ()
    arrows: tuple[tuple[float, float, str], ...] = ()
    upright: bool = False

    @property
    def scale(self) -> float | None:
        """The scale of its drawings, None without any."""
        return self.drawings[0].scale if self.drawings else None


@dataclass(slots=True)
class Block:
    """Words and rules being laid out, from an upper left corner down; sizes in millimetres."""

    width_mm: float = 0.0
    height_mm: float = 0.0
    words: list[Words] = field(default_factory=list)
    rules: list[tuple[float, float, float, float]] = field(default_factory=list)

    def line(self, text: str, size_pt: float, *, bold: bool = False, indent_mm: float = 0.0) -> None:
        """Add one line of words below what is there."""
        self.height_mm += line_height_mm(size_pt)
        self.words.append(Words(text, indent_mm, -self.height_mm + 0.25 * line_height_mm(size_pt), size_pt, bold))
        self.width_mm = max(self.width_mm, indent_mm + text_width_mm(text, size_pt, bold=bold))

    def space(self, height_mm: float) -> None:
        """Leave room."""
        self.height_mm += height_mm

    def below(self, other: Block) -> None:
        """Put another block under this one."""
        self.words += [Words(w.text, w.x_mm, w.y_mm - self.height_mm, w.size_pt, w.bold) for w in other.words]
        self.rules += [(a, b - self.height_mm, c, d - self.height_mm) for a, b, c, d in other.rules]
        self.width_mm, self.height_mm = max(self.width_mm, other.width_mm), self.height_mm + other.height_mm

    def at(self, x_mm: float, y_mm: float) -> tuple[list[Words], list[tuple[float, float, float, float]]]:
        """Words and rules with the upper left corner at a place on the sheet."""
        words = [Words(w.text, w.x_mm + x_mm, w.y_mm + y_mm, w.size_pt, w.bold) for w in self.words]
        return words, [(a + x_mm, b + y_mm, c + x_mm, d + y_mm) for a, b, c, d in self.rules]


def scales_for(unit: str) -> tuple[int, ...]:
    """Scales of a scene's unit, largest drawing first."""
    return tuple(INCH_SCALES) if is_imperial(unit) else SCALES


def scale_words(scale: float) -> str:
    """What the title block says of a scale: "1:50", or 1/4" = 1'-0" for one of the inch scales."""
    inches = INCH_SCALES.get(int(scale))
    return f"1:{scale:g}" if inches is None else f'{inches}" = 1\'-0"'


def paper_mm(paper: str, *, upright: bool = False) -> tuple[float, float]:
    """Width and height of a sheet."""
    width, height = PAPERS_MM[paper]
    return (height, width) if upright else (width, height)


def area_mm(paper: str, *, upright: bool = False) -> tuple[float, float, float, float]:
    """Left, low, right and high of the part of a sheet that drawings and tables may take."""
    width, height = paper_mm(paper, upright=upright)
    pad = 1.5
    return (
        FRAME_MM + pad,
        FRAME_MM + TITLE_BLOCK_MM + CAUTION_MM + pad,
        width - FRAME_MM - pad,
        height - FRAME_MM - pad,
    )


def table_block(table: Table, widest_mm: float) -> Block:
    """Lay out one table: title, headings, rows, notes; columns as wide as their widest words, or wrapped."""
    block = Block()
    block.line(table.title, HEAD_PT, bold=True)
    block.space(0.8)
    cells = [table.headings, *table.rows] if table.headings else []
    natural = _natural_mm(table)
    widths = _squeezed(natural, widest_mm - COLUMN_GAP_MM * (len(natural) - 1))
    starts = np.concatenate([[0.0], np.cumsum(np.array(widths) + COLUMN_GAP_MM)])
    for number, row in enumerate(cells):
        broken = [
            wrapped(cell, TABLE_PT, width / (1.17 if number == 0 else 1.0)) if wide > width + 1e-9 else [cell]
            for cell, width, wide in zip(row, widths, natural, strict=True)
        ]
        for level in range(max(len(lines) for lines in broken)):
            block.height_mm += line_height_mm(TABLE_PT)
            base = -block.height_mm + 0.25 * line_height_mm(TABLE_PT)
            for lines, start in zip(broken, starts, strict=False):
                if level < len(lines) and lines[level]:
                    block.words.append(Words(lines[level], float(start), base, TABLE_PT, number == 0))
        block.space(0.5)
        width = float(starts[-1]) - COLUMN_GAP_MM
        if number == 0:
            block.rules.append((0.0, -block.height_mm, width, -block.height_mm))
            block.space(0.4)
        block.width_mm = max(block.width_mm, width)
    for note in table.notes:
        for line in wrapped(note, NOTE_PT, min(widest_mm, max(block.width_mm, 90.0)), hanging="   "):
            block.line(line, NOTE_PT)
    return block


def _squeezed(natural: Sequence[float], room_mm: float) -> list[float]:
    """Widths of columns that fit into the room: the widest give way first."""
    widths = list(natural)
    while sum(widths) > room_mm and max(widths) > 14.0:
        widest = int(np.argmax(widths))
        widths[widest] *= 0.93
    return widths


def turned(table: Table) -> Table:
    """The same table with its headings in the first column, for few rows in a narrow place."""
    columns = [(heading, *(row[number] for row in table.rows)) for number, heading in enumerate(table.headings)]
    return Table(table.title, columns[0], tuple(columns[1:]), table.notes)


def tables_block(tables: Sequence[Table], widest_mm: float, *, may_turn: bool = False) -> Block:
    """Several tables under each other; each may be turned when it is too wide."""
    block = Block()
    for number, table in enumerate(tables):
        if number:
            block.space(3.0)
        whole = sum(_natural_mm(table)) + COLUMN_GAP_MM * (len(table.headings) - 1)
        fits = whole <= widest_mm or not may_turn
        block.below(table_block(table if fits else turned(table), widest_mm))
    return block


def _natural_mm(table: Table) -> list[float]:
    cells = [table.headings, *table.rows]
    return [
        max(text_width_mm(row[column], TABLE_PT, bold=number == 0) for number, row in enumerate(cells))
        for column in range(len(table.headings))
    ]


# What every sheet says, and the first sheets: what was assumed, what is not judged, what to mind, what is where.

SHORT_CAUTIONS = (
    "Check every length on site before you cut. Overhead: joists or rated anchors and a second tether, never "
    "suspended grids or plain plasterboard. Drilling: use a detector, mind cables, water, gas and asbestos in old "
    "coatings; no spot here is claimed to be free. Keep ways out, openings, alarms, lamps and heaters clear. Fire "
    "class of the whole panel: EN 13501-1 or ASTM E84. Lift and hang with two people. Local codes and licensed trades "
    "win."
)
SIZE_PT, NOTES_HEAD_PT = 7.0, 8.5
HOW_TO_READ = (
    "Left and right are those of the seat, facing the front wall. Walls and slopes are seen from inside the room.",
    "Hatched rectangles are panels; their numbers are those of the parts list and of panels.csv.",
    "A letter in a circle, square or triangle marks the reflection point of that monitor.",
    "Dotted outlines: keep clear. Dashed outlines on a surface: things that stand close before it.",
    "Edges are measured to the panel's outline on the surface, along the surface.",
    "Print at 100 % and check the scale bar with a rule. Written lengths win over measured ones.",
)


@dataclass(frozen=True, slots=True)
class TitleBlock:
    """Words of the title block, the same on every sheet but for its own name."""

    title: str
    date: str
    version: str
    digest: str
    units: str
    not_judged: str
    demo: str


def title_block(results: Results, date: datetime.date) -> TitleBlock:
    """Fill the title block of a scene."""
    return block_of(results.scene, date, f"Not judged: anything below {results.responses.transition_hz:.0f} Hz.")


def block_of(scene: SceneFile, date: datetime.date, not_judged: str) -> TitleBlock:
    """The same of a scene that need not be traced."""
    demo = [note for note in scene.blueprint.notes if "demo" in note.lower()]
    return TitleBlock(
        title=scene.blueprint.title,
        date=date.isoformat(),
        version=f"bounceplan {__version__}",
        digest=scene.digest,
        units=unit_words(scene.blueprint.units),
        not_judged=not_judged,
        demo=" ".join(demo),
    )


def first_sheets(
    block: TitleBlock, remarks: Remarks, names: Sequence[str], paper: str, bare: Sequence[str] = ()
) -> tuple[Sheet, ...]:
    """Sheets of words that come before the drawings.

    names are those of all other sheets, in order; bare those of surfaces that have nothing on them and so no drawing.
    """
    undrawn = (f"No drawing, because nothing is marked on it: {', '.join(bare)}.",) if bare else ()
    count = 1
    while True:  # how many there are decides the numbers in the list of sheets
        contents = [f"{number + count}  {name}" for number, name in enumerate(names, 1)]
        sections = (
            ("Sheets", (*contents, *undrawn)),
            ("How to read them", HOW_TO_READ),
            ("Before you lift, drill or hang anything", remarks.cautions),
            ("Assumptions", remarks.assumptions),
            ("Not judged", (block.not_judged, *remarks.not_judged)),
        )
        sheets = _flowed(block.title, sections, paper)
        if len(sheets) == count:
            return sheets
        count = len(sheets)


def _flowed(title: str, sections: Sequence[tuple[str, Sequence[str]]], paper: str) -> tuple[Sheet, ...]:
    left, low, right, high = area_mm(paper)
    room = 0.5 * (right - left - GAP_MM)
    tall = high - low - HEADING_MM
    columns: list[Block] = [Block()]
    for heading, sentences in sections:
        for number, sentence in enumerate(sentences):
            lines = wrapped(sentence, SIZE_PT, room - 4.0)
            need = len(lines) * line_height_mm(SIZE_PT) + (line_height_mm(NOTES_HEAD_PT) + 3.5 if number == 0 else 0.0)
            if columns[-1].height_mm + need > tall:
                columns.append(Block())
            column = columns[-1]
            if number == 0:
                column.space(2.5 if column.height_mm else 0.0)
                column.line(heading, NOTES_HEAD_PT, bold=True)
                column.space(0.8)
            for line in lines:
                column.line(line, SIZE_PT, indent_mm=2.0 if line is lines[0] else 4.0)
            column.space(0.5)
    sheets = []
    for pair in range(0, len(columns), 2):
        words = [Words(f"Read this first: {title}", left, high - 5.0, 10.5, bold=True)]
        for number, column in enumerate(columns[pair : pair + 2]):
            words += column.at(left + number * (room + GAP_MM), high - HEADING_MM)[0]
        sheets.append(Sheet("Read this first", (), tuple(words)))
    return tuple(sheets)
