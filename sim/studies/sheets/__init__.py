"""Drawings to scale for the builder, tables of panels and parts, a 3D model; and a scene written out untraced."""

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
    from sim.studies.sheets.export import Export
    from sim.studies.sheets.sheet_set import Sheets


def write(answer: Sheets | Export, folder: Path, report: Report, _: bool) -> None:
    """Write drawings.pdf, drawings.dxf, room.glb, panels.csv, parts.csv and reflection_points.csv.

    Of a scene that is only written out: room.glb, plan.dxf and empty_room.pdf.

    Raises
    ------
    OutputError
        If something cannot be written.
    """
    from sim.studies.sheets.export import Export

    if isinstance(answer, Export):
        _write_export(answer, folder, report)
    else:
        _write_sheets(answer, folder, report)


def _write_sheets(sheets: Sheets, folder: Path, report: Report) -> None:
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


def _write_export(out: Export, folder: Path, report: Report) -> None:
    from sim.machine.whole_files import write_whole
    from sim.studies.sheets.empty_room import emptied, room_book
    from sim.studies.sheets.model3d import body_scene
    from sim.studies.sheets.pdf_picture import write_pages
    from sim.studies.sheets.plan_dxf import write_plan_dxf

    report("writing the 3D model and the plan")
    write_whole(folder / "room.glb", body_scene(out.scene, out.built).export(file_type="glb"), "the model")
    write_plan_dxf(out.scene, out.built, folder / "plan.dxf")
    report("drawing the empty room")
    block, pages = room_book(emptied(out.scene, out.built), out.paper, out.date)
    write_pages(folder / "empty_room.pdf", block, pages, out.paper, out.date, "the empty room")


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


def export_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan export`."""
    scene_argument(command)
    output_arguments(command, pictures=False)
    paper_argument(command)
    command.set_defaults(run=export_command)


def export_command(chosen: argparse.Namespace) -> int:
    """Write a scene out for others; nothing is traced."""
    from sim.showing.folder import results_folder
    from sim.studies.saving import write_answer
    from sim.studies.sheets.export import export

    compile_first("rooms")
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        write_answer(export(told_scene(chosen), paper=chosen.paper), folder, report=progress)
    list_files(chosen.output)
    return 0
