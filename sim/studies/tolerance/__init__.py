"""How far every figure may be off, and what to measure again."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from sim.errors import SceneError
from sim.showing.terminal import (
    compile_first,
    output_arguments,
    processes_argument,
    progress,
    scene_argument,
    told_scene,
)
from sim.studies.answering import answer_into_folder

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.tolerance.tolerance import Tolerance


def lines(found: Tolerance) -> list[str]:
    """What the command says."""
    from sim.studies.tolerance.text import tolerance_lines

    return tolerance_lines(found)


def write(found: Tolerance, folder: Path, report: Report, pictures: bool) -> None:
    """Write the study in words, its tables and its picture."""
    from sim.showing.words import write_lines
    from sim.studies.tolerance.tables import write_tolerance_tables

    write_lines(lines(found), folder / "tolerance.txt")
    write_tolerance_tables(found, folder)
    if pictures:
        from sim.studies.tolerance.picture import draw_tolerance

        report("drawing")
        draw_tolerance(found, folder / "tolerance.png")


# The command.


def tolerance_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan tolerance`."""
    scene_argument(command)
    command.add_argument(
        "--samples", type=int, default=256, metavar="N", help="a power of two, or rounded up to one (default: 256)"
    )
    command.add_argument("--seed", type=int, metavar="N", help="the same seed, the same answer (default: the scene's)")
    processes_argument(command)
    output_arguments(command)
    command.set_defaults(run=tolerance_command)


def tolerance_command(chosen: argparse.Namespace) -> int:
    """Work out a tolerance study into a results folder."""
    from sim.studies.tolerance.tolerance import tolerance

    if chosen.processes is not None and chosen.processes < 1:
        raise SceneError("--processes", f"it is {chosen.processes}", "give 1 or more")
    compile_first()

    def ask() -> Tolerance:
        progress("drawing the scene as it may really be")
        return tolerance(
            told_scene(chosen), samples=chosen.samples, seed=chosen.seed, processes=chosen.processes, report=progress
        )

    answer_into_folder(chosen, ask)
    return 0
