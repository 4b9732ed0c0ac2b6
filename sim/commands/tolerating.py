"""Tolerance: how far every figure may be off, which answers are fragile, and what to measure again."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..errors import SceneError
from .screen import compile_first, list_files, progress, say


def tolerance_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan tolerance`."""
    command.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    command.add_argument(
        "--samples", type=int, default=256, metavar="N", help="a power of two, or rounded up to one (default: 256)"
    )
    command.add_argument("--seed", type=int, metavar="N", help="the same seed, the same answer (default: the scene's)")
    command.add_argument("--processes", type=int, metavar="N", help="processes to share the work (default: all cores)")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.add_argument("--no-pictures", action="store_true", help="numbers only")
    command.set_defaults(run=tolerance_command)


def tolerance_command(chosen: argparse.Namespace) -> int:
    """Work out a tolerance study into a results folder."""
    from ..studies.tolerance import tolerance
    from ..writers.folder import results_folder
    from ..writers.paragraphs import write_lines
    from ..writers.tolerance_tables import write_tolerance_tables
    from ..writers.tolerance_text import tolerance_lines

    if chosen.processes is not None and chosen.processes < 1:
        raise SceneError("--processes", f"it is {chosen.processes}", "give 1 or more")
    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        progress("drawing the scene as it may really be")
        found = tolerance(
            chosen.scene, samples=chosen.samples, seed=chosen.seed, processes=chosen.processes, report=progress
        )
        lines = tolerance_lines(found)
        write_lines(lines, folder / "tolerance.txt")
        write_tolerance_tables(found, folder)
        if not chosen.no_pictures:
            from ..views.tolerance_picture import draw_tolerance

            progress("drawing")
            draw_tolerance(found, folder / "tolerance.png")
    for line in lines:
        say(line)
    say("")
    list_files(chosen.output)
    return 0
