"""Upright, inverted, on a side: what the pose of the loudspeakers changes."""

from __future__ import annotations

import argparse
from pathlib import Path

from .screen import compile_first, list_files, progress, say

POSES = "upright,inverted,left,right"


def orient_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan orient`."""
    command.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    command.add_argument(
        "--poses", default=POSES, metavar="POSE,POSE",
        help="upright, inverted, left, right (the side a loudspeaker left of the seat lies on; the other is its mirror"
        f" image), out, in (where the top points), or rolls in degrees (default: {POSES})",
    )  # fmt: skip
    command.add_argument(
        "--keep", choices=("axis", "support"), default="axis",
        help="what stays: the acoustic axis point, or the box on its support (default: axis)",
    )  # fmt: skip
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.add_argument("--no-pictures", action="store_true", help="numbers only")
    command.set_defaults(run=orient_command)


def orient_command(chosen: argparse.Namespace) -> int:
    """Study the poses of a scene's loudspeakers into a results folder."""
    from ..blueprint.reader import read_scene
    from ..studies.orientation import study_orientation
    from ..studies.orientation_poses import read_poses
    from ..writers.folder import results_folder
    from ..writers.orientation_tables import write_orientation
    from ..writers.orientation_text import orientation_lines
    from ..writers.paragraphs import write_lines

    poses, scene = read_poses(chosen.poses), read_scene(chosen.scene)
    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        study = study_orientation(scene, poses, chosen.keep, progress)
        lines = orientation_lines(study)
        write_lines(lines, folder / "orientation.txt")
        write_orientation(study, folder)
        if not chosen.no_pictures:
            from ..views.drawing import file_name
            from ..views.orientation_picture import draw_orientation

            for number, name in enumerate(study.names, start=1):
                progress(f"drawing {name}")
                draw_orientation(study, name, folder / f"poses_{number}_{file_name(name)}.png")
    for line in lines:
        say(line)
    say("")
    list_files(chosen.output)
    return 0
