"""What to do first: everything a person can change is tried, what it buys, what it takes, what gets worse."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from sim.showing.terminal import (
    compile_first,
    order_argument,
    output_arguments,
    progress,
    scene_argument,
    told_scene,
    waves_argument,
)
from sim.studies.answering import answer_into_folder

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.advise.records import Advice


def lines(advice: Advice) -> list[str]:
    """What the command says: one screen; advice.txt has everything that was tried."""
    from sim.studies.advise.text import screen_lines

    return screen_lines(advice)


def write(advice: Advice, folder: Path, report: Report, pictures: bool) -> None:
    """Write the advice in words, its table, the advised layouts as scenes, and a picture of before and after."""
    from sim.showing.words import write_lines
    from sim.studies.advise.text import advice_lines, write_advice, write_advised_scenes

    write_lines(advice_lines(advice), folder / "advice.txt")
    write_advice(advice, folder / "advice.csv")
    write_advised_scenes(advice, folder)
    if pictures:
        from sim.studies.advise.picture import draw_advice

        report("drawing before and after")
        draw_advice(advice, folder / "before_and_after.png")


# The command.


def advise_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan advise`."""
    scene_argument(command)
    output_arguments(command)
    order_argument(command)
    waves_argument(command)
    command.set_defaults(run=advise_command)


def advise_command(chosen: argparse.Namespace) -> int:
    """Try what can be done in a scene into a results folder."""
    from sim.blueprint.reader import read_scene
    from sim.studies.advise.advice import advise

    scene = read_scene(told_scene(chosen))
    compile_first("rooms", "paths", "edges", "waves", "maps", "decay")
    answer_into_folder(chosen, lambda: advise(scene, progress, order=chosen.order, waves_to_hz=chosen.waves_to))
    return 0
