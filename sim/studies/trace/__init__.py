"""The main job: what a trace says, its tables and its pictures."""

from __future__ import annotations

import argparse
import io
from typing import TYPE_CHECKING

from sim.showing.terminal import (
    compile_first,
    order_argument,
    output_arguments,
    progress,
    scene_argument,
    told_scene,
    waves_argument,
)
from sim.studies.answering import draw_and_list

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
    from sim.showing.tables import write_traced

    report("writing tables and results.h5")
    write_traced(results, folder)


def draw(_: Results, place: Path, report: Report) -> str:
    """Draw all pictures; returns why some failed, or an empty text."""
    from sim.studies.draw.drawn import draw_folders

    return draw_folders([place], place, report)


# The command.


def trace_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan trace`."""
    scene_argument(command)
    output_arguments(command)
    order_argument(command)
    waves_argument(command)
    command.set_defaults(run=trace_command)


def trace_command(chosen: argparse.Namespace) -> int:
    """Trace a scene into a results folder."""
    from sim.showing.archive.kept_traces import trace_kept
    from sim.showing.folder import results_folder
    from sim.studies.saving import write_answer
    from sim.studies.trace.screen import show_results

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        results = trace_kept(told_scene(chosen), progress, order=chosen.order, waves_to_hz=chosen.waves_to)
        write_answer(results, folder, report=progress)
    show_results(results)
    draw_and_list(chosen, results)
    return 0
