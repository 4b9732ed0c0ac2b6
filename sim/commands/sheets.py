"""Papers for the builder: drawings to scale, CAD file, tables of panels and parts of a scene as it stands."""

from __future__ import annotations

import argparse
import datetime
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from .screen import compile_first, list_files, progress

if TYPE_CHECKING:
    from ..responses.results import Results
    from ..treatment.records import Plan

PAPERS = ("a4", "a3", "letter")


def sheets_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan sheets`."""
    command.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="folder to make")
    paper_argument(command)
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.set_defaults(run=sheets_command)


def paper_argument(command: argparse.ArgumentParser) -> None:
    """Add the choice of paper."""
    command.add_argument("--paper", choices=PAPERS, default="a4", help="paper of the sheets, lying (default: a4)")


def sheets_command(chosen: argparse.Namespace) -> int:
    """Trace a scene and write its papers."""
    from ..pipeline import trace
    from ..writers.folder import results_folder

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        results = trace(chosen.scene, progress)
        write_papers(results, folder, chosen.paper, datetime.date.today(), report=progress)
    list_files(chosen.output)
    return 0


def write_papers(
    results: Results, folder: Path, paper: str, date: datetime.date, plan: Plan | None = None,
    report: Callable[[str], None] = progress,
) -> None:  # fmt: skip
    """Write sheets.pdf, sheets.dxf, room.glb, panels.csv, parts.csv and reflection_points.csv into a folder.

    Raises
    ------
    OutputError
        If something cannot be written.
    """
    from ..drawings.records import Remarks
    from ..views.sheet_pdf import draw_sheets
    from ..writers.dxf import write_dxf
    from ..writers.model3d import write_model3d
    from ..writers.panel_tables import write_panels, write_parts
    from ..writers.remarks import NOT_JUDGED, assumptions, cautions
    from ..writers.tables import write_reflection_points

    report("drawing the sheets")
    remarks = Remarks(assumptions(results), NOT_JUDGED, cautions(results))
    draw_sheets(results, folder / "sheets.pdf", paper, date, remarks, plan)
    report("writing the CAD file, the 3D model and the tables of panels and parts")
    write_dxf(results, folder / "sheets.dxf", date)
    write_model3d(results, folder / "room.glb")
    write_panels(results, folder / "panels.csv", plan)
    write_parts(results, folder / "parts.csv", plan)
    write_reflection_points(results, folder / "reflection_points.csv")
