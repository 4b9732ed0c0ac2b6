"""First, second and third bounce: where early sound strikes on its way to the ear, surface by surface."""

from __future__ import annotations

import argparse
from pathlib import Path

from .screen import compile_first, list_files, progress, say


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
    from ..pipeline import check
    from ..responses.bounce_maps import study_bounces
    from ..writers.bounce_tables import write_bounces
    from ..writers.bounce_text import bounce_lines, write_bounce_readme
    from ..writers.folder import results_folder

    compile_first("bounces")
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        scene, stage = check(chosen.scene)
        seed = scene.blueprint.method.seed if chosen.seed is None else chosen.seed
        study = study_bounces(scene, stage, progress, rays=chosen.rays, seed=seed)
        write_bounces(study, folder)
        write_bounce_readme(study, folder / "README.txt")
        if not chosen.no_pictures:
            from ..views.bounce_picture import draw_bounces

            progress("drawing")
            draw_bounces(study, folder)
    for line in bounce_lines(study):
        say(line)
    say("")
    list_files(chosen.output)
    return 0
