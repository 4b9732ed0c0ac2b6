"""One loudspeaker by itself: what was understood of a file, a folder, a kind or a model of a scene."""

from __future__ import annotations

import argparse
from pathlib import Path

from sim.errors import PictureError
from sim.showing.arguments import picture_argument
from sim.showing.terminal import progress, refuse_missing_folder, say
from sim.studies.answering import say_answer


def loudspeaker_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan loudspeaker`."""
    command.add_argument(
        "loudspeaker",
        metavar="FILE_OR_KIND",
        help="an AES69 file, a table of two orbits, a folder of impulse responses, a scene, or two-way, three-way, "
        "coaxial or point",
    )
    command.add_argument("--model", metavar="NAME", help="which model of a scene; left out, its first loudspeaker's")
    picture_argument(command)
    command.set_defaults(run=loudspeaker_command)


def loudspeaker_command(chosen: argparse.Namespace) -> int:
    """Print what was understood of a loudspeaker, and draw it if a picture is asked for."""
    from sim.placement.models import loudspeaker
    from sim.studies.loudspeaker.drawn import draw_loudspeaker_of

    picture: Path | None = chosen.picture
    refuse_missing_folder(picture)
    say_answer(loudspeaker(chosen.loudspeaker, chosen.model))
    if picture is not None:
        trouble = draw_loudspeaker_of(chosen.loudspeaker, chosen.model, picture, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {picture}")
    return 0
