"""Papers for the builder: drawings to scale, CAD file, tables of panels and parts of a scene as it stands."""

from __future__ import annotations

import argparse
from pathlib import Path

from sim.showing.terminal import compile_first, list_files, progress

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
    """Trace a scene and write its drawings."""
    from sim.studies.sheets.sheet_set import sheets
    from sim.studies.saving import write_answer
    from sim.showing.folder import results_folder

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        write_answer(sheets(chosen.scene, progress, paper=chosen.paper), folder, report=progress)
    list_files(chosen.output)
    return 0
