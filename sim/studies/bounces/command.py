"""First, second and third bounce: where early reflections strike before they reach the ear, surface by surface."""

from __future__ import annotations

import argparse

from sim.showing.arguments import output_arguments, scene_argument
from sim.showing.terminal import compile_first, progress
from sim.studies.answering import answer_into_folder


def bounces_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan bounces`."""
    scene_argument(command)
    command.add_argument(
        "--rays", type=int, default=1_000_000, metavar="N", help="rays from each loudspeaker (default: 1000000)"
    )
    command.add_argument("--seed", type=int, metavar="N", help="the same seed, the same answer (default: the scene's)")
    output_arguments(command)
    command.set_defaults(run=bounces_command)


def bounces_command(chosen: argparse.Namespace) -> int:
    """Map the bounces of a scene into a results folder."""
    from sim.studies.bounces.maps import bounces

    compile_first("bounces")
    answer_into_folder(chosen, lambda: bounces(chosen.scene, progress, rays=chosen.rays, seed=chosen.seed))
    return 0
