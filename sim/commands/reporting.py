"""Write a report: one file that opens anywhere."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..errors import OutputError
from ..whole_files import refuse_name
from .screen import compile_first, progress, say

MOST = 6
"""Layouts on one page: beyond, nobody can tell their lines apart (common practice, no source)."""


def report_arguments(command: argparse.ArgumentParser) -> None:
    """Name what the command takes."""
    command.add_argument("scenes", type=Path, nargs="+", help="scene files or folders; the first is the reference")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="FILE.html", help="file to write")
    command.add_argument("--replace", action="store_true", help="replace a file that is already there")
    command.set_defaults(run=report_command)


def report_command(chosen: argparse.Namespace) -> int:
    """Trace one scene or several and write them into one page."""
    import datetime

    from ..pipeline import trace
    from ..writers.report import write_report

    refuse_output(chosen.output, replace=chosen.replace)
    if len(chosen.scenes) > MOST:
        raise OutputError(f"report takes at most {MOST} scenes and was given {len(chosen.scenes)}; leave some out.")
    compile_first()
    traced = []
    for scene in chosen.scenes:
        if len(chosen.scenes) > 1:
            progress(str(scene))
        traced.append(trace(scene, progress))
    progress("writing the report")
    write_report(traced, chosen.output, date=datetime.date.today())
    say(f"wrote {chosen.output} ({chosen.output.stat().st_size / 1e6:.1f} MB): open it in any browser")
    return 0


def refuse_output(path: Path, *, replace: bool) -> None:
    """Raise OutputError, before anything is traced, when the file cannot go there."""
    refuse_name(path)
    if path.suffix.lower() not in (".html", ".htm"):
        raise OutputError(f"{path}: a report is a web page; give it a name that ends in .html.")
    if path.is_dir():
        raise OutputError(f"{path}: this is a folder; name a file in it that ends in .html.")
    if not path.parent.is_dir():
        raise OutputError(f"{path}: there is no folder {path.parent}; make it, or choose another place with -o.")
    if path.exists() and not replace:
        raise OutputError(f"{path} exists; choose another name with -o, or add --replace.")
