"""Where early sound strikes first, second and third."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from sim.showing.terminal import compile_first, output_arguments, progress, scene_argument, told_scene
from sim.studies.answering import answer_into_folder

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.bounces.records import BounceStudy


def lines(study: BounceStudy) -> list[str]:
    """What the command says."""
    from sim.studies.bounces.text import bounce_lines

    return bounce_lines(study)


def write(study: BounceStudy, folder: Path, report: Report, pictures: bool) -> None:
    """Write the tables of a study, README.txt and its pictures."""
    from sim.studies.bounces.text import write_bounce_readme, write_bounces

    write_bounces(study, folder)
    write_bounce_readme(study, folder / "README.txt")
    if pictures:
        from sim.studies.bounces.picture import draw_bounces

        report("drawing")
        draw_bounces(study, folder)


# The command.


def bounces_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan bounces`."""
    scene_argument(command)
    command.add_argument(
        "--rays", type=int, default=1_000_000, metavar="N", help="rays from each monitor (default: 1000000)"
    )
    command.add_argument("--seed", type=int, metavar="N", help="the same seed, the same answer (default: the scene's)")
    output_arguments(command)
    command.set_defaults(run=bounces_command)


def bounces_command(chosen: argparse.Namespace) -> int:
    """Map the bounces of a scene into a results folder."""
    from sim.studies.bounces.maps import bounces

    compile_first("bounces")
    answer_into_folder(chosen, lambda: bounces(told_scene(chosen), progress, rays=chosen.rays, seed=chosen.seed))
    return 0
