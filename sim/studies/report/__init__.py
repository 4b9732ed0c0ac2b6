"""One page that opens offline: the room to turn, curves, layouts, plan."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.errors import OutputError
from sim.machine.whole_files import refuse_name
from sim.showing.terminal import compile_first, progress, say, scenes_argument

if TYPE_CHECKING:
    from sim.studies.report.report import ReportPage


def refuse_page(path: Path, *, replace: bool) -> None:
    """Raise OutputError, before anything is traced, when a report cannot go there."""
    refuse_name(path)
    if path.suffix.lower() not in (".html", ".htm"):
        raise OutputError(f"{path}: a report is a web page; give it a name that ends in .html.")
    if path.is_dir():
        raise OutputError(f"{path}: this is a folder; name a file in it that ends in .html.")
    if not path.parent.is_dir():
        raise OutputError(f"{path}: there is no folder {path.parent}; make it, or choose another place with -o.")
    if path.exists() and not replace:
        raise OutputError(f"{path} exists; choose another name with -o, or add --replace.")


def write_page(page: ReportPage, path: Path) -> None:
    """Write a report to its file; OutputError if that cannot be."""
    from sim.studies.report.report import write_report

    write_report(page.layouts, path, plan=page.plan, date=page.date)


# The command.


def report_arguments(command: argparse.ArgumentParser) -> None:
    """Name what the command takes."""
    scenes_argument(command)
    command.add_argument("-o", "--output", type=Path, required=True, metavar="FILE.html", help="file to write")
    command.add_argument("--replace", action="store_true", help="replace a file that is already there")
    command.set_defaults(run=report_command)


def report_command(chosen: argparse.Namespace) -> int:
    """Trace one scene or several and write them into one page."""
    from sim.studies.report.report import refuse_many, report

    refuse_page(chosen.output, replace=chosen.replace)
    refuse_many(len(chosen.scenes))
    compile_first()
    page = report(chosen.scenes, progress)
    progress("writing the report")
    write_page(page, chosen.output)
    say(f"wrote {chosen.output} ({chosen.output.stat().st_size / 1e6:.1f} MB): open it in any browser")
    return 0
