"""First, second and third bounce: where early sound strikes on its way to the ear, surface by surface."""

from __future__ import annotations

import argparse
from pathlib import Path

from sim.showing.terminal import answer_into_folder, compile_first, progress


def bounces_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan bounces`."""
    command.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    command.add_argument(
        "--rays", type=int, default=1_000_000, metavar="N", help="rays from each loudspeaker (default: 1000000)"
    )
    command.add_argument("--seed", type=int, metavar="N", help="the same seed, the same answer (default: the scene's)")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.add_argument("--no-pictures", action="store_true", help="numbers only")
    command.set_defaults(run=bounces_command)


def bounces_command(chosen: argparse.Namespace) -> int:
    """Map the bounces of a scene into a results folder."""
    from sim.studies.bounces.maps import bounces

    compile_first("bounces")
    answer_into_folder(chosen, lambda: bounces(chosen.scene, progress, rays=chosen.rays, seed=chosen.seed))
    return 0
