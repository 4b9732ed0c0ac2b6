"""Papers for the builder: drawings to scale, CAD file, tables of panels and parts of a scene as it stands."""

from __future__ import annotations

import argparse

from sim.showing.arguments import output_arguments, paper_argument, scene_argument
from sim.showing.terminal import compile_first, list_files, progress


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
        write_answer(sheets(chosen.scene, progress, paper=chosen.paper), folder, report=progress)
    list_files(chosen.output)
    return 0
