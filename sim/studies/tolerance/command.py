"""Tolerance: how far every figure may be off, which answers are fragile, and what to measure again."""

from __future__ import annotations

import argparse
from pathlib import Path

from sim.errors import SceneError
from sim.showing.terminal import answer_into_folder, compile_first, progress


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
