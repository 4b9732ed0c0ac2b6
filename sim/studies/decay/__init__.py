"""How long sound stays and how clear it is, with errors, against the target."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from sim.errors import SceneError
from sim.showing.terminal import compile_first, output_arguments, progress, scene_argument, told_scene
from sim.studies.answering import answer_into_folder

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.decay.records import DecayStudy


def lines(study: DecayStudy) -> list[str]:
    """What the command says."""
    from sim.studies.decay.text import decay_lines

    return decay_lines(study)


def write(study: DecayStudy, folder: Path, report: Report, pictures: bool) -> None:
    """Write the study in words, its tables, decay.h5, README.txt and its picture."""
    from sim.showing.words import write_lines
    from sim.studies.decay.tables import write_decay_file, write_decay_tables
    from sim.studies.decay.text import write_decay_readme

    write_lines(lines(study), folder / "decay.txt")
    write_decay_tables(study, folder)
    write_decay_file(study, folder / "decay.h5")
    write_decay_readme(study, folder / "README.txt")
    if pictures:
        from sim.studies.decay.picture import draw_decay

        report("drawing")
        draw_decay(study, folder / "decay.png")


# The command.


def decay_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan decay`."""
    scene_argument(command)
    command.add_argument(
        "--error",
        default="2%,0.3dB",
        metavar="PERCENT,DB",
        help="standard error to reach, of T20 in percent, of C50 in dB, or both (default: 2%%,0.3dB)",
    )
    command.add_argument(
        "--rays", type=int, default=400_000, metavar="MOST", help="most rays from each monitor (default: 400000)"
    )
    command.add_argument("--seed", type=int, metavar="N", help="the same seed, the same answer (default: the scene's)")
    command.add_argument(
        "--threads", type=int, metavar="N", help="threads to spread the rays over (default: all cores)"
    )
    command.add_argument(
        "--second-seat",
        nargs=3,
        metavar=("FROM_FRONT", "FROM_LEFT", "UP"),
        help="also at this place, instead of the scene's own second seat",
    )
    output_arguments(command)
    command.set_defaults(run=decay_command)


def decay_command(chosen: argparse.Namespace) -> int:
    """Find the decay of a scene into a results folder."""
    from sim.studies.decay.study import decay

    percent, clarity_db = wanted_errors(chosen.error)
    if chosen.threads is not None and chosen.threads < 1:
        raise SceneError("--threads", f"it is {chosen.threads}", "give 1 or more")
    compile_first("paths", "decay")
    answer_into_folder(
        chosen,
        lambda: decay(
            told_scene(chosen),
            progress,
            seed=chosen.seed,
            most_rays=chosen.rays,
            percent=percent,
            clarity_db=clarity_db,
            threads=chosen.threads,
            second_seat=chosen.second_seat,
        ),
    )
    return 0


def wanted_errors(words: str) -> tuple[float, float]:
    """Read "2%", "0.3dB" or both as percent of T20 and dB of C50; what is left out takes its usual value.

    Raises
    ------
    SceneError
        If something else is given, or a value that is not above zero.
    """
    found = {"%": 2.0, "db": 0.3}
    for word in words.split(","):
        text = word.strip().lower()
        unit = next((unit for unit in found if text.endswith(unit)), "")
        try:
            value = float(text.removesuffix(unit)) if unit else float("nan")
        except ValueError:
            value = float("nan")
        if not 0.0 < value < float("inf"):
            raise SceneError(
                "--error", f"it is '{word.strip()}'", "give values above zero, like 2% or 0.3dB or 2%,0.3dB"
            )
        found[unit] = value
    return found["%"], found["db"]
