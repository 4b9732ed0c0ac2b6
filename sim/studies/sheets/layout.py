"""From drawings to sheets in the order in which a builder turns the pages, each at the largest scale that fits."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sim.responses.plan import Plan
from sim.responses.records import Results
from sim.studies.sheets.dimensions import mounting_drawings
from sim.studies.sheets.elevation import surface_drawing
from sim.studies.sheets.labels import END_LINE_MM, ends_stacked, text_width_mm, widest_mm, wrapped
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
    scales_for,
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
NARROWEST_MM = 50.0
"""The narrowest column of tables beside a drawing."""
SHARED_SCALE = 32
"""Drawings share a sheet when none gets smaller than 1 to this, or smaller than it would be alone."""
MOST_ON_A_SHEET = 3
SMALLEST_SETTING_OUT = 50
"""Setting-out may give way to the parts list down to this scale."""


@dataclass(frozen=True, slots=True)
class Footprint:
    """Room that a drawing takes at one scale, in millimetres: whole size, and where its lower left corner lies."""

    width_mm: float
    height_mm: float
    left_mm: float
    low_mm: float
    tables: Block
    where: Where


Where = Literal["under", "beside", "column"]
"""Where its tables stand: under the drawing; beside it with the title above them; beside it under the title of both."""


def sheets_of(drawings: Sequence[Drawing], paper: str, scales: Sequence[int] = SCALES) -> tuple[Sheet, ...]:
    """Lay drawings out on sheets of a paper ("a4", "a3" or "letter"), keeping their order; minor ones share sheets.

    Each gets the first of the scales at which it fits: the paper lies, or stands where that makes it larger.
    """
    sheets: list[Sheet] = []
    waiting: list[Drawing] = []
    for drawing in drawings:
        if drawing.minor and (not waiting or _go_together([*waiting, drawing], paper, scales)):
            waiting.append(drawing)
            continue
        sheets += _finished(waiting, paper, scales)
        waiting = [drawing] if drawing.minor else []
        if not drawing.minor:
            sheets += _single(drawing, paper, scales)
    return (*sheets, *_finished(waiting, paper, scales))


def _go_together(drawings: Sequence[Drawing], paper: str, scales: Sequence[int]) -> bool:
    """Whether drawings of one kind fit on a sheet together."""
    kinds = {drawing.title.partition(":")[0] for drawing in drawings}
    return len(kinds) == 1 and _shared(drawings, paper, _large(drawings, paper, scales)) is not None


def _finished(waiting: Sequence[Drawing], paper: str, scales: Sequence[int]) -> list[Sheet]:
    if not waiting:
        return []
    if len(waiting) == 1:
        return _single(waiting[0], paper, scales)
    shared = _shared(waiting, paper, _large(waiting, paper, scales))
    assert shared is not None
    return [shared]


def _large(drawings: Sequence[Drawing], paper: str, scales: Sequence[int]) -> list[int]:
    """Scales at which drawings may share a sheet: large ones, and those that each has on a sheet of its own."""
    alone = [_single(drawing, paper, scales)[0].scale or 0.0 for drawing in drawings]
    return [scale for scale in scales if scale <= max(SHARED_SCALE, min(alone))]


def _single(drawing: Drawing, paper: str, scales: Sequence[int]) -> list[Sheet]:
    for scale in scales:
        sheet = _alone(drawing, scale, paper)
        if sheet is not None:
            return [sheet]
    # The tables are too many for one sheet: they follow on sheets of their own.
    bare = replace(drawing, tables=())
    for scale in scales:
        sheet = _alone(bare, scale, paper)
        if sheet is not None:
            return [sheet, *table_sheets(drawing.title, drawing.tables, paper)]
    left, _, right, _ = area_mm(paper)
    foot = footprint(bare, scales[-1], right - left)
    return [_sheet([(bare, foot)], scales[-1], paper), *table_sheets(drawing.title, drawing.tables, paper)]


def _alone(drawing: Drawing, scale: int, paper: str) -> Sheet | None:
    """The drawing on a sheet of its own, lying or else standing; None when it does not fit at this scale."""
    ways: tuple[Where, ...] = ("under", "beside", "column") if drawing.tables else ("under",)
    for upright in (False, True):
        left, low, right, high = area_mm(paper, upright=upright)
        for where in ways:
            foot = footprint(drawing, scale, right - left, where)
            if foot.width_mm <= right - left and foot.height_mm <= high - low:
                return _sheet([(drawing, foot)], scale, paper, upright=upright)
    return None


def _shared(drawings: Sequence[Drawing], paper: str, scales: Sequence[int]) -> Sheet | None:
    if len(drawings) > MOST_ON_A_SHEET:
        return None
    left, low, right, high = area_mm(paper)
    gaps = GAP_MM * (len(drawings) - 1)
    each = (right - left - gaps) / len(drawings)
    for scale in scales:
        feet = [footprint(drawing, scale, each) for drawing in drawings]
        if sum(f.width_mm for f in feet) + gaps <= right - left and max(f.height_mm for f in feet) <= high - low:
            return _sheet(list(zip(drawings, feet, strict=True)), scale, paper)
    return None


def footprint(drawing: Drawing, scale: float, widest: float, where: Where = "under") -> Footprint:
    """Room a drawing needs at 1 to `scale`, its tables under it or beside it."""
    margins = {side: _margin_mm(drawing.rows(side)) for side in ("left", "below", "right", "above")}
    width, height = (drawing.high - drawing.low) * 1000.0 / scale
    whole = float(width) + margins["left"] + margins["right"]
    ends = ENDS_MM + (END_LINE_MM if ends_stacked(drawing, scale) else 0.0)
    tall = float(height) + margins["below"] + margins["above"] + (0.0 if drawing.rows("above") else ends)
    room = widest if where == "under" else max(widest - whole - GAP_MM, NARROWEST_MM)
    tables = tables_block(drawing.tables, room, may_turn=where != "under") if drawing.tables else Block()
    low = margins["below"]
    if where == "beside":
        column = max(tables.width_mm, _heading_width_mm(drawing, room))
        high = max(tall, tables.height_mm + _heading_mm(drawing, column))
        return Footprint(whole + GAP_MM + column, high, margins["left"], low + high - tall, tables, where)
    title = _heading_width_mm(drawing, widest)
    if where == "column":
        high = max(tall, tables.height_mm)
        wide = max(whole + GAP_MM + tables.width_mm, title)
        return Footprint(wide, high + _heading_mm(drawing, widest), margins["left"], low + high - tall, tables, where)
    tall += _heading_mm(drawing, widest)
    if drawing.tables:
        tall += tables.height_mm + GAP_MM
        low += tables.height_mm + GAP_MM
    return Footprint(max(whole, title, tables.width_mm), tall, margins["left"], low, tables, where)


def _heading_width_mm(drawing: Drawing, room: float) -> float:
    return max(_title_mm(drawing), widest_mm(wrapped(drawing.words, WORDS_PT, room), WORDS_PT))


def _title_mm(drawing: Drawing) -> float:
    return widest_mm([drawing.title], TITLE_PT, bold=True) + (ARROW_MM if drawing.front else 0.0)


def _heading_mm(drawing: Drawing, room: float) -> float:
    return HEADING_MM + 3.2 * (len(wrapped(drawing.words, WORDS_PT, room)) - 1)


def _margin_mm(rows: int) -> float:
    return FIRST_ROW_MM + ROW_MM * rows if rows else 2.0


def _sheet(placed: Sequence[tuple[Drawing, Footprint]], scale: float, paper: str, *, upright: bool = False) -> Sheet:
    left, low, right, high = area_mm(paper, upright=upright)
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
        centred = max(0.0, 0.5 * (foot.width_mm - own)) if foot.where == "under" else 0.0
        body = np.array([x + foot.left_mm + centred, top - foot.height_mm + foot.low_mm])
        drawings.append(PlacedDrawing(drawing, scale, body))
        column = x + own + GAP_MM
        head = column if foot.where == "beside" else x
        room = foot.width_mm - (own + GAP_MM if foot.where == "beside" else 0.0)
        words.append(Words(drawing.title, head, top - 4.0, TITLE_PT, bold=True))
        if drawing.front:
            arrows.append((head + text_width_mm(drawing.title, TITLE_PT, bold=True) + 3.0, top - 4.0, drawing.front))
        for number, line in enumerate(wrapped(drawing.words, WORDS_PT, room)):
            words.append(Words(line, head, top - 7.8 - 3.2 * number, WORDS_PT))
        if drawing.tables:
            under = top - foot.height_mm + foot.tables.height_mm
            aside = (column, top - _heading_mm(drawing, room))
            more, lines = foot.tables.at(*((x, under) if foot.where == "under" else aside))
            words += more
            rules += lines
        x += foot.width_mm + spare
    return Sheet(_shared_name(placed), tuple(drawings), tuple(words), tuple(rules), tuple(arrows), upright)


def _shared_name(placed: Sequence[tuple[Drawing, Footprint]]) -> str:
    """Name several drawings of one kind, such as "Wall elevation: front wall / rear wall"."""
    kind, colon, _ = placed[0][0].title.partition(": ")
    return kind + colon + " / ".join(drawing.title.partition(": ")[2] for drawing, _ in placed)


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


def with_table(sheet: Sheet, title: str, table: Table, paper: str) -> Sheet | None:
    """The same sheet with a table below all that is on it; None when there is no room left."""
    left, low, right, _ = area_mm(paper, upright=sheet.upright)
    block = Block()
    block.below(tables_block([table], right - left))
    lowest = [words.y_mm for words in sheet.words] + [rule[1] for rule in sheet.rules]
    lowest += [float(one.corner_mm[1]) - _margin_mm(one.drawing.rows("below")) for one in sheet.drawings]
    top = min(lowest) - GAP_MM
    if block.width_mm > right - left or top - block.height_mm < low:
        return None
    words, rules = block.at(left, top)
    name = f"{sheet.name}; {title}"
    return replace(sheet, name=name, words=(*sheet.words, *words), rules=(*sheet.rules, *rules))


def _last_with_table(sheet: Sheet, table: Table, paper: str, scales: Sequence[int]) -> Sheet | None:
    """The last sheet with the parts list under its setting-out, which may be smaller: all of it is written beside."""
    tried = [sheet]
    drawings = [one.drawing for one in sheet.drawings]
    if drawings and all(drawing.minor for drawing in drawings):
        smaller = [scale for scale in scales if scale > (sheet.scale or 0) and scale <= SMALLEST_SETTING_OUT]
        tried += [one for scale in smaller if (one := _shared(drawings, paper, [scale])) is not None]
    for one in tried:
        made = with_table(one, "parts list", table, paper)
        if made is not None:
            return made
    return None


# All drawings and sheets of a scene in the order in which a builder turns the pages.


def drawings_of(results: Results) -> tuple[Drawing, ...]:
    """Plan, section, ceiling, walls, slopes with anything on them, mounting rectangles."""
    return _drawn(results)[0]


def _drawn(results: Results) -> tuple[tuple[Drawing, ...], tuple[str, ...]]:
    """All drawings, and the names of surfaces that have none because nothing is on them."""
    surfaces = surfaces_of(results.built.room, hung_planes(results.built))
    readings = read_panels(results.built, surfaces)
    points = reflection_points(results)
    flat = [surface_drawing(results, surface, readings, points) for surface in surfaces]
    rank = {"ceiling": 0, "wall": 1, "slope": 2, "floor": 3}
    order = sorted(range(len(flat)), key=lambda n: (rank[surfaces[n].kind], flat[n].minor))
    bare = [number for number in order if not flat[number].has_something]
    drawings = (
        plan_drawing(results, readings),
        section_drawing(results, readings),
        *(flat[number] for number in order if number not in bare),
        *mounting_drawings(readings, results.scene.blueprint.units),
    )
    return drawings, tuple(surfaces[number].name for number in bare)


def book_of(
    results: Results, paper: str, date: datetime.date, remarks: Remarks, plan: Plan | None = None
) -> tuple[TitleBlock, tuple[Sheet, ...]]:
    """Lay out all sheets on a paper: words first, then drawings, then the parts list."""
    blueprint = results.scene.blueprint
    parts = parts_list(read_panels(results.built), plan)
    drawings, bare = _drawn(results)
    scales = scales_for(blueprint.units)
    sheets = sheets_of(drawings, paper, scales)
    if parts:
        table = parts_table(parts, blueprint.units, blueprint.treatment.currency)
        last = _last_with_table(sheets[-1], table, paper, scales)
        sheets = (*sheets[:-1], last) if last else (*sheets, *table_sheets("Parts list", (table,), paper))
    block = title_block(results, date)
    return block, (*first_sheets(block, remarks, [sheet.name for sheet in sheets], paper, bare), *sheets)
