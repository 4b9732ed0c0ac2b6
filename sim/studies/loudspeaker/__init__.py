"""What is understood of a loudspeaker or its data."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import PictureError
from sim.progress import Report
from sim.showing.child_drawing import as_child, draw_in_child
from sim.showing.terminal import compile_first, picture_argument, progress, refuse_missing_folder, say

if TYPE_CHECKING:
    from sim.loudspeakers.loudspeaker import Loudspeaker


def lines(loudspeaker: Loudspeaker) -> list[str]:
    """What the command says."""
    from sim.acoustics.air import Air
    from sim.studies.loudspeaker.text import loudspeaker_lines

    return loudspeaker_lines(loudspeaker, Air())


# The command.


def loudspeaker_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan loudspeaker`."""
    command.add_argument(
        "loudspeaker",
        metavar="FILE_OR_KIND",
        help="an AES69 file, a table of two orbits, a folder of impulse responses, a scene, or two-way, three-way, "
        "coaxial or point",
    )
    command.add_argument("--model", metavar="NAME", help="which model of a scene; left out, its first loudspeaker's")
    command.add_argument(
        "--units", choices=("m", "cm", "mm", "in", "ft"), help="what to answer in (default: the scene's, or mm)"
    )
    picture_argument(command)
    command.set_defaults(run=loudspeaker_command)


def loudspeaker_command(chosen: argparse.Namespace) -> int:
    """Print what was understood of a loudspeaker, and draw it if a picture is asked for."""
    from sim.acoustics.air import Air
    from sim.placement.models import loudspeaker
    from sim.studies.loudspeaker.text import loudspeaker_lines

    picture: Path | None = chosen.picture
    refuse_missing_folder(picture)
    one = loudspeaker(chosen.loudspeaker, chosen.model)
    compile_first("boxes")
    for line in loudspeaker_lines(one, Air(), chosen.units or _units_of(Path(chosen.loudspeaker))):
        say(line)
    if picture is not None:
        trouble = draw_loudspeaker_of(chosen.loudspeaker, chosen.model, picture, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {picture}")
    return 0


def _units_of(path: Path) -> str:
    """Units of a scene; millimetres for a kind or a file of data."""
    from sim.blueprint.reader import SCENE_NAME, read_scene

    if path.suffix.lower() == ".toml" or (path / SCENE_NAME).is_file():
        return read_scene(path).blueprint.units
    return "mm"


# Draw what was understood of a loudspeaker, in a process of its own.

MODULE: Final = "sim.studies.loudspeaker"


def draw_loudspeaker_of(word: str, model: str | None, picture: Path, report: Report) -> str:
    """Draw what was understood of a loudspeaker to a file; returns why that failed, or an empty text."""
    return draw_in_child(MODULE, "loudspeaker", picture, [word, *([model] if model is not None else [])], report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.acoustics.air import Air
    from sim.placement.models import loudspeaker
    from sim.studies.loudspeaker.picture import draw_loudspeaker

    draw_loudspeaker(loudspeaker(*sources), Air(), place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
