"""The main job: what a trace says, its tables and its pictures."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.responses.records import Results


def lines(results: Results) -> list[str]:
    """What the command says."""
    from rich.console import Console

    from sim.studies.trace.screen import PIPED, show_results

    text = io.StringIO()
    show_results(results, Console(file=text, width=PIPED, highlight=False))
    return text.getvalue().splitlines()


def write(results: Results, folder: Path, report: Report, _: bool) -> None:
    """Write tables, results.h5 and README.txt."""
    from sim.showing.traced import write_traced

    report("writing tables and results.h5")
    write_traced(results, folder)


def draw(_: Results, place: Path, report: Report) -> str:
    """Draw all pictures; returns why some failed, or an empty text."""
    from sim.studies.draw.drawn import draw_folders

    return draw_folders([place], place, report)
