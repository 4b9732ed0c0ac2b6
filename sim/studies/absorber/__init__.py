"""What one absorber build-up returns, by frequency and angle."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import PictureError
from sim.progress import Report
from sim.showing.child_drawing import as_child, draw_in_child
from sim.showing.terminal import picture_argument, progress, refuse_missing_folder, say
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.studies.absorber.table import AbsorberTable


def lines(table: AbsorberTable) -> list[str]:
    """What the command says."""
    from sim.acoustics.air import Air
    from sim.studies.absorber.table import absorber_lines

    return absorber_lines(table.build_up, Air())


# The command.


def absorber_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan absorber`."""
    command.add_argument("build_up", help='a name from the library, or layers: "100 mm wool, 100 mm gap"')
    picture_argument(command)
    command.set_defaults(run=absorber_command)


def absorber_command(chosen: argparse.Namespace) -> int:
    """Print what a build-up returns, and draw it if a picture is asked for."""
    from sim.studies.absorber.table import absorber

    refuse_missing_folder(chosen.picture)
    say_answer(absorber(chosen.build_up))
    if chosen.picture is not None:
        trouble = draw_absorber_of(chosen.build_up, chosen.picture, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.picture}")
    return 0


# Draw what an absorber returns, in a process of its own.

MODULE: Final = "sim.studies.absorber"


def draw_absorber_of(words: str, picture: Path, report: Report) -> str:
    """Draw what an absorber returns to a file; returns why that failed, or an empty text."""
    return draw_in_child(MODULE, "absorber", picture, [words], report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.acoustics.air import Air
    from sim.blueprint.build_ups import build_up_in_words
    from sim.studies.absorber.picture import draw_absorber

    draw_absorber(build_up_in_words(sources[0]), Air(), place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
