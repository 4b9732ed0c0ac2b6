"""Upright, inverted, on a side: what the pose of the loudspeakers changes."""

from __future__ import annotations

import argparse

from sim.showing.arguments import output_arguments, scene_argument
from sim.showing.terminal import compile_first, progress
from sim.studies.answering import answer_into_folder

POSES = "upright,inverted,left,right"


def orient_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan orient`."""
    scene_argument(command)
    command.add_argument(
        "--orientations",
        dest="poses",
        default=POSES,
        metavar="WHICH,WHICH",
        help="upright, inverted, left, right (the side a loudspeaker left of the seat lies on; the other is its mirror"
        f" image), out, in (where the top points), or rolls in degrees (default: {POSES})",
    )
    command.add_argument(
        "--keep",
        choices=("axis", "support"),
        default="axis",
        help="what stays: the acoustic axis point, or the cabinet on its support (default: axis)",
    )
    output_arguments(command)
    command.set_defaults(run=orient_command)


def orient_command(chosen: argparse.Namespace) -> int:
    """Study the poses of a scene's loudspeakers into a results folder."""
    from sim.blueprint.reader import read_scene
    from sim.studies.orient.orientations import read_poses
    from sim.studies.orient.study import orient

    read_poses(chosen.poses)  # what can be refused at once is refused before the folder
    scene = read_scene(chosen.scene)
    compile_first()
    answer_into_folder(chosen, lambda: orient(scene, chosen.poses, chosen.keep, progress))
    return 0
