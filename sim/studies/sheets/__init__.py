"""Drawings to scale for the builder, tables of panels and parts, a 3D model."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.sheets.sheet_set import Sheets


def write(sheets: Sheets, folder: Path, report: Report, _: bool) -> None:
    """Write sheets.pdf, sheets.dxf, room.glb, panels.csv, parts.csv and reflection_points.csv.

    Raises
    ------
    OutputError
        If something cannot be written.
    """
    from sim.showing.tables import write_reflection_points
    from sim.showing.words import NOT_JUDGED, assumptions, cautions
    from sim.studies.sheets.dxf import write_dxf
    from sim.studies.sheets.model3d import write_model3d
    from sim.studies.sheets.panel_tables import write_panels, write_parts
    from sim.studies.sheets.pdf_picture import draw_sheets
    from sim.studies.sheets.records import Remarks

    results, plan = sheets.results, sheets.plan
    report("drawing the sheets")
    remarks = Remarks(assumptions(results), NOT_JUDGED, cautions(results))
    draw_sheets(results, folder / "sheets.pdf", sheets.paper, sheets.date, remarks, plan)
    report("writing the CAD file, the 3D model and the tables of panels and parts")
    write_dxf(results, folder / "sheets.dxf", sheets.date)
    write_model3d(results, folder / "room.glb")
    write_panels(results, folder / "panels.csv", plan)
    write_parts(results, folder / "parts.csv", plan)
    write_reflection_points(results, folder / "reflection_points.csv")
