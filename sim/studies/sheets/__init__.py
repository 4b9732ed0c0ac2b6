"""Drawings to scale for the builder, tables of panels and parts, a 3D model."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from sim.showing.terminal import (
    compile_first,
    list_files,
    output_arguments,
    paper_argument,
    progress,
    scene_argument,
    told_scene,
)

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.sheets.sheet_set import Sheets


def write(sheets: Sheets, folder: Path, report: Report, _: bool) -> None:
    """Write drawings.pdf, drawings.dxf, room.glb, panels.csv, parts.csv and reflection_points.csv.

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
    report("drawing the set")
    remarks = Remarks(assumptions(results), NOT_JUDGED, cautions(results))
    draw_sheets(results, folder / "drawings.pdf", sheets.paper, sheets.date, remarks, plan)
    report("writing the CAD file, the 3D model and the tables of panels and parts")
    write_dxf(results, folder / "drawings.dxf", sheets.date)
    write_model3d(results, folder / "room.glb")
    write_panels(results, folder / "panels.csv", plan)
    write_parts(results, folder / "parts.csv", plan)
    write_reflection_points(results, folder / "reflection_points.csv")


# The command.


def sheets_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan sheets`."""
    scene_argument(command)
    output_arguments(command, pictures=False)
    paper_argument(command)
    command.set_defaults(run=sheets_command)


def sheets_command(chosen: argparse.Namespace) -> int:
    """Trace a scene and write its drawings."""
    from sim.showing.folder import results_folder
    from sim.studies.saving import write_answer
    from sim.studies.sheets.sheet_set import sheets

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        write_answer(sheets(told_scene(chosen), progress, paper=chosen.paper), folder, report=progress)
    list_files(chosen.output)
    return 0
