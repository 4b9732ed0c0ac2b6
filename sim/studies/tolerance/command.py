"""Tolerance: how far every figure may be off, which answers are fragile, and what to measure again."""

from __future__ import annotations

import argparse

from sim.errors import SceneError
from sim.showing.arguments import output_arguments, processes_argument, scene_argument
from sim.showing.terminal import compile_first, progress
from sim.studies.answering import answer_into_folder


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
    from sim.studies.tolerance.tolerance import Tolerance, tolerance

    if chosen.processes is not None and chosen.processes < 1:
        raise SceneError("--processes", f"it is {chosen.processes}", "give 1 or more")
    compile_first()

    def ask() -> Tolerance:
        progress("drawing the scene as it may really be")
        return tolerance(
            chosen.scene, samples=chosen.samples, seed=chosen.seed, processes=chosen.processes, report=progress
        )

    answer_into_folder(chosen, ask)
    return 0
