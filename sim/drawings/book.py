"""All drawings and sheets of a scene in the order in which a builder turns the pages."""

from __future__ import annotations

import datetime

from ..responses.results import Results
from ..treatment.records import Plan
from .elevation import surface_drawing
from .layout import sheets_of, table_sheets
from .mounting import mounting_drawings
from .notes import TitleBlock, first_sheets, title_block
from .panel_readings import hung_planes, read_panels
from .papers import Sheet
from .parts import parts_list, parts_table
from .plan import plan_drawing
from .points import reflection_points
from .records import Drawing, Remarks
from .section import section_drawing
from .surfaces import surfaces_of


def drawings_of(results: Results) -> tuple[Drawing, ...]:
    """Plan, section, ceiling, walls, slopes, mounting rectangles."""
    surfaces = surfaces_of(results.stage.room, hung_planes(results.stage))
    readings = read_panels(results.stage, surfaces)
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
    parts = parts_list(read_panels(results.stage), plan)
    sheets = sheets_of(drawings_of(results), paper)
    if parts:
        table = parts_table(parts, blueprint.units, blueprint.treatment.currency)
        sheets = (*sheets, *table_sheets("Parts list", (table,), paper))
    block = title_block(results, date)
    return block, (*first_sheets(block, remarks, [sheet.name for sheet in sheets], paper), *sheets)
