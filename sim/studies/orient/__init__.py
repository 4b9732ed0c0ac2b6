"""Upright, inverted or lying: what each orientation does at the head and the desk."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from sim.showing.terminal import compile_first, output_arguments, progress, scene_argument, told_scene
from sim.studies.answering import answer_into_folder

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.orient.study import OrientationStudy


def lines(study: OrientationStudy) -> list[str]:
    """What the command says."""
    from sim.studies.orient.text import orientation_lines

    return orientation_lines(study)


def write(study: OrientationStudy, folder: Path, report: Report, pictures: bool) -> None:
    """Write the study in words, its tables, and a picture for each loudspeaker."""
    from sim.showing.words import write_lines
    from sim.studies.orient.findings import write_orientation

    write_lines(lines(study), folder / "orientation.txt")
    write_orientation(study, folder)
    if pictures:
        from sim.showing.child_drawing import file_name
        from sim.studies.orient.picture import draw_orientation

        for number, name in enumerate(study.names, start=1):
            report(f"drawing {name}")
            draw_orientation(study, name, folder / f"orientation_{number}_{file_name(name)}.png")


# The command.

ORIENTATIONS = "upright,inverted,left,right"


def orient_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan orient`."""
    scene_argument(command)
    command.add_argument(
        "--orientations",
        default=ORIENTATIONS,
        metavar="WHICH,WHICH",
        help="upright, inverted, left, right (the side a monitor left of the seat lies on; the other is its mirror"
        f" image), out, in (where the top points), or rolls in degrees (default: {ORIENTATIONS})",
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
    """Study the orientations of a scene's loudspeakers into a results folder."""
    from sim.blueprint.reader import read_scene
    from sim.studies.orient.drivers import read_orientations
    from sim.studies.orient.study import orient

    read_orientations(chosen.orientations)  # what can be refused at once is refused before the folder
    scene = read_scene(told_scene(chosen))
    compile_first()
    answer_into_folder(chosen, lambda: orient(scene, chosen.orientations, chosen.keep, progress))
    return 0
