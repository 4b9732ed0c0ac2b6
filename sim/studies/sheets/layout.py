"""From drawings to sheets in the order in which a builder turns the pages, each at the largest scale that fits."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.responses.plan import Plan
from sim.responses.records import Results
from sim.studies.sheets.dimensions import mounting_drawings
from sim.studies.sheets.elevation import surface_drawing
from sim.studies.sheets.labels import text_width_mm, widest_mm, wrapped
from sim.studies.sheets.page_layout import (
    ENDS_MM,
    FIRST_ROW_MM,
    GAP_MM,
    HEADING_MM,
    ROW_MM,
    SCALES,
    Block,
    PlacedDrawing,
    Sheet,
    TitleBlock,
    Words,
    area_mm,
    first_sheets,
    tables_block,
    title_block,
)
from sim.studies.sheets.parts import parts_list, parts_table
from sim.studies.sheets.plan import plan_drawing
from sim.studies.sheets.readings import hung_planes, read_panels, reflection_points
from sim.studies.sheets.records import Drawing, Remarks, Table
from sim.studies.sheets.section import section_drawing
from sim.studies.sheets.surfaces import surfaces_of

TITLE_PT, WORDS_PT = 10.5, 7.0
ARROW_MM = 20.0
"""Room for the arrow to the front and its word, after a title."""
SHARED_SCALE = 50
"""Drawings share a sheet when none gets smaller than 1 to this."""
MOST_ON_A_SHEET = 3


@dataclass(frozen=True, slots=True)
class Footprint:
    """Room that a drawing takes at one scale, in millimetres: whole size, and where its lower left corner lies."""

    width_mm: float
    height_mm: float
    left_mm: float
    low_mm: float
    tables: Block
    beside: bool


def sheets_of(drawings: Sequence[Drawing], paper: str) -> tuple[Sheet, ...]:
    """Lay drawings out on sheets of a paper ("a4", "a3" or "letter"), keeping their order; minor ones share sheets."""
    sheets: list[Sheet] = []
    waiting: list[Drawing] = []
    for drawing in drawings:
        if drawing.minor and (not waiting or _go_together([*waiting, drawing], paper)):
            waiting.append(drawing)
            continue
        sheets += _finished(waiting, paper)
        waiting = [drawing] if drawing.minor else []
        if not drawing.minor:
            sheets += _single(drawing, paper)
    return (*sheets, *_finished(waiting, paper))


def _go_together(drawings: Sequence[Drawing], paper: str) -> bool:
    """Whether drawings of one kind fit on a sheet together."""
    kinds = {drawing.title.partition(":")[0] for drawing in drawings}
    return len(kinds) == 1 and _shared(drawings, paper) is not None


def _finished(waiting: Sequence[Drawing], paper: str) -> list[Sheet]:
    if not waiting:
        return []
    if len(waiting) == 1:
        return _single(waiting[0], paper)
    shared = _shared(waiting, paper)
    assert shared is not None
    return [shared]


def _single(drawing: Drawing, paper: str) -> list[Sheet]:
    left, low, right, high = area_mm(paper)
    for scale in SCALES:
        for beside in (False, True):
            foot = footprint(drawing, scale, right - left, beside=beside)
            if foot.width_mm <= right - left and foot.height_mm <= high - low:
                return [_sheet([(drawing, foot)], scale, paper)]
    # The tables are too many for one sheet: they follow on sheets of their own.
    bare = _without_tables(drawing)
    for scale in SCALES:
        foot = footprint(bare, scale, right - left, beside=False)
        if (foot.width_mm <= right - left and foot.height_mm <= high - low) or scale == SCALES[-1]:
            return [_sheet([(bare, foot)], scale, paper), *table_sheets(drawing.title, drawing.tables, paper)]
    raise AssertionError("the last scale is always taken")


def _shared(drawings: Sequence[Drawing], paper: str) -> Sheet | None:
    if len(drawings) > MOST_ON_A_SHEET:
        return None
    left, low, right, high = area_mm(paper)
    gaps = GAP_MM * (len(drawings) - 1)
    each = (right - left - gaps) / len(drawings)
    for scale in (scale for scale in SCALES if scale <= SHARED_SCALE):
        feet = [footprint(drawing, scale, each, beside=False) for drawing in drawings]
        if sum(f.width_mm for f in feet) + gaps <= right - left and max(f.height_mm for f in feet) <= high - low:
            return _sheet(list(zip(drawings, feet, strict=True)), scale, paper)
    return None


def footprint(drawing: Drawing, scale: float, widest: float, *, beside: bool) -> Footprint:
    """Room a drawing needs at 1 to `scale`, tables under it or beside it."""
    margins = {side: _margin_mm(drawing.rows(side)) for side in ("left", "below", "right", "above")}
    width, height = (drawing.high - drawing.low) * 1000.0 / scale
    whole = float(width) + margins["left"] + margins["right"]
    tall = float(height) + margins["below"] + margins["above"] + (0.0 if drawing.rows("above") else ENDS_MM)
    room = widest - whole - GAP_MM if beside else widest
    tables = tables_block(drawing.tables, max(room, 50.0), may_turn=beside) if drawing.tables else Block()
    low = margins["below"]
    if beside:
        words = max(room, 50.0)
        column = max(tables.width_mm, _title_mm(drawing), widest_mm(wrapped(drawing.words, WORDS_PT, words), WORDS_PT))
        high = max(tall, tables.height_mm + _heading_mm(drawing, column))
        return Footprint(whole + GAP_MM + column, high, margins["left"], low + high - tall, tables, True)
    title = max(_title_mm(drawing), widest_mm(wrapped(drawing.words, WORDS_PT, widest), WORDS_PT))
    tall += _heading_mm(drawing, widest)
    if drawing.tables:
        tall += tables.height_mm + GAP_MM
        low += tables.height_mm + GAP_MM
    return Footprint(max(whole, title, tables.width_mm), tall, margins["left"], low, tables, False)


def _title_mm(drawing: Drawing) -> float:
    return widest_mm([drawing.title], TITLE_PT, bold=True) + (ARROW_MM if drawing.front else 0.0)


def _heading_mm(drawing: Drawing, room: float) -> float:
    return HEADING_MM + 3.2 * (len(wrapped(drawing.words, WORDS_PT, room)) - 1)


def _margin_mm(rows: int) -> float:
    return FIRST_ROW_MM + ROW_MM * rows if rows else 2.0


def _sheet(placed: Sequence[tuple[Drawing, Footprint]], scale: float, paper: str) -> Sheet:
    left, low, right, high = area_mm(paper)
    spare = (right - left - sum(foot.width_mm for _, foot in placed)) / (len(placed) + 1)
    x = left + spare
    drawings: list[PlacedDrawing] = []
    words: list[Words] = []
    rules: list[tuple[float, float, float, float]] = []
    arrows: list[tuple[float, float, str]] = []
    for drawing, foot in placed:
        top = high - max(0.0, min(6.0, 0.5 * (high - low - foot.height_mm)))
        own = (
            foot.left_mm + float(drawing.high[0] - drawing.low[0]) * 1000.0 / scale + _margin_mm(drawing.rows("right"))
        )
        body_left = x + foot.left_mm + (0.0 if foot.beside else max(0.0, 0.5 * (foot.width_mm - own)))
        drawings.append(PlacedDrawing(drawing, scale, np.array([body_left, top - foot.height_mm + foot.low_mm])))
        head = x + own + GAP_MM if foot.beside else x
        room = foot.width_mm - (own + GAP_MM if foot.beside else 0.0)
        words.append(Words(drawing.title, head, top - 4.0, TITLE_PT, bold=True))
        if drawing.front:
            arrows.append((head + text_width_mm(drawing.title, TITLE_PT, bold=True) + 3.0, top - 4.0, drawing.front))
        for number, line in enumerate(wrapped(drawing.words, WORDS_PT, room)):
            words.append(Words(line, head, top - 7.8 - 3.2 * number, WORDS_PT))
        if drawing.tables:
            under = top - foot.height_mm + foot.tables.height_mm
            more, lines = foot.tables.at(head, top - _heading_mm(drawing, room) if foot.beside else under)
            words += more
            rules += lines
        x += foot.width_mm + spare
    return Sheet(_shared_name(placed), tuple(drawings), tuple(words), tuple(rules), tuple(arrows))


def _shared_name(placed: Sequence[tuple[Drawing, Footprint]]) -> str:
    """Name several drawings of one kind, such as "Wall elevation: front wall / rear wall"."""
    kind, colon, _ = placed[0][0].title.partition(": ")
    return kind + colon + " / ".join(drawing.title.partition(": ")[2] for drawing, _ in placed)


def _without_tables(drawing: Drawing) -> Drawing:
    from dataclasses import replace

    return replace(drawing, tables=())


def table_sheets(title: str, tables: Sequence[Table], paper: str) -> list[Sheet]:
    """Tables alone on as many sheets as they need; long ones are continued."""
    left, low, right, high = area_mm(paper)
    sheets: list[Sheet] = []
    block = Block()
    for table in _cut(tables, right - left, high - low - HEADING_MM):
        one = tables_block([table], right - left)
        if block.height_mm and block.height_mm + 4.0 + one.height_mm > high - low - HEADING_MM:
            sheets.append(_table_sheet(title, block, left, high))
            block = Block()
        if block.height_mm:
            block.space(4.0)
        block.below(one)
    return [*sheets, _table_sheet(title, block, left, high)]


def _table_sheet(title: str, block: Block, left: float, high: float) -> Sheet:
    words, rules = block.at(left, high - HEADING_MM)
    return Sheet(title, (), (Words(title, left, high - 5.0, 10.5, bold=True), *words), tuple(rules))


def _cut(tables: Sequence[Table], width: float, height: float) -> list[Table]:
    """Tables no higher than a sheet."""
    cut: list[Table] = []
    for table in tables:
        rows = list(table.rows)
        while len(rows) > 1 and tables_block([_part(table, rows, last=True)], width).height_mm > height:
            count = len(rows)
            while count > 1 and tables_block([_part(table, rows[:count], last=False)], width).height_mm > height:
                count -= 1
            cut.append(_part(table, rows[:count], last=False))
            rows = rows[count:]
        cut.append(_part(table, rows, last=True))
    return cut


def _part(table: Table, rows: Sequence[tuple[str, ...]], *, last: bool) -> Table:
    return Table(table.title, table.headings, tuple(rows), table.notes if last else ())


# All drawings and sheets of a scene in the order in which a builder turns the pages.


def drawings_of(results: Results) -> tuple[Drawing, ...]:
    """Plan, section, ceiling, walls, slopes, mounting rectangles."""
    surfaces = surfaces_of(results.built.room, hung_planes(results.built))
    readings = read_panels(results.built, surfaces)
    points = reflection_points(results)
    flat = [surface_drawing(results, surface, readings, points) for surface in surfaces]
    rank = {"ceiling": 0, "wall": 1, "slope": 2, "floor": 3}
    order = sorted(range(len(flat)), key=lambda n: (rank[surfaces[n].kind], flat[n].minor))
    return (
        plan_drawing(results, readings),
        section_drawing(results, readings),
        *(flat[number] for number in order),
        *mounting_drawings(readings, results.scene.blueprint.units),
    )


def book_of(
    results: Results, paper: str, date: datetime.date, remarks: Remarks, plan: Plan | None = None
) -> tuple[TitleBlock, tuple[Sheet, ...]]:
    """Lay out all sheets on a paper: words first, then drawings, then the parts list."""
    blueprint = results.scene.blueprint
    parts = parts_list(read_panels(results.built), plan)
    sheets = sheets_of(drawings_of(results), paper)
    if parts:
        table = parts_table(parts, blueprint.units, blueprint.treatment.currency)
        sheets = (*sheets, *table_sheets("Parts list", (table,), paper))
    block = title_block(results, date)
    return block, (*first_sheets(block, remarks, [sheet.name for sheet in sheets], paper), *sheets)
