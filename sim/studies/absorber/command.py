"""One absorber by itself."""

from __future__ import annotations

import argparse

from sim.errors import PictureError
from sim.showing.arguments import picture_argument
from sim.showing.terminal import progress, refuse_missing_folder, say
from sim.studies.answering import say_answer


def absorber_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan absorber`."""
    command.add_argument("build_up", help='a name from the library, or layers: "100 mm wool, 100 mm gap"')
    picture_argument(command)
    command.set_defaults(run=absorber_command)


def absorber_command(chosen: argparse.Namespace) -> int:
    """Print what a build-up returns, and draw it if a picture is asked for."""
    from sim.studies.absorber.drawn import draw_absorber_of
    from sim.studies.absorber.table import absorber

    refuse_missing_folder(chosen.picture)
    say_answer(absorber(chosen.build_up))
    if chosen.picture is not None:
        trouble = draw_absorber_of(chosen.build_up, chosen.picture, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.picture}")
    return 0
