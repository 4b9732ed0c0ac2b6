"""Write a report: one file that opens anywhere."""

from __future__ import annotations

import argparse
from pathlib import Path

from sim.showing.arguments import scenes_argument
from sim.showing.terminal import compile_first, progress, say


def report_arguments(command: argparse.ArgumentParser) -> None:
    """Name what the command takes."""
    scenes_argument(command)
    command.add_argument("-o", "--output", type=Path, required=True, metavar="FILE.html", help="file to write")
    command.add_argument("--replace", action="store_true", help="replace a file that is already there")
    command.set_defaults(run=report_command)


def report_command(chosen: argparse.Namespace) -> int:
    """Trace one scene or several and write them into one page."""
    from sim.studies.report import refuse_page, write_page
    from sim.studies.report.report import refuse_many, report

    refuse_page(chosen.output, replace=chosen.replace)
    refuse_many(len(chosen.scenes))
    compile_first()
    page = report(chosen.scenes, progress)
    progress("writing the report")
    write_page(page, chosen.output)
    say(f"wrote {chosen.output} ({chosen.output.stat().st_size / 1e6:.1f} MB): open it in any browser")
    return 0
