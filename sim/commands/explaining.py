"""One arrival explained: in words on the screen, and as a picture."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..errors import PictureError
from .screen import compile_first, progress, refuse_missing_folder, say


def explain_arguments(command: argparse.ArgumentParser) -> None:
    """Add what `explain` takes."""
    command.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    command.add_argument(
        "--peak", type=int, required=True, metavar="N", help="number as in arrivals.csv; 0 is the direct sound"
    )
    command.add_argument("--loudspeaker", metavar="NAME", help="left out, the first of the scene")
    command.add_argument("--listener", metavar="NAME", help="left out, the ear; or the name of the second seat")
    command.add_argument("--picture", type=Path, metavar="PNG", help="also draw it to this file")
    command.add_argument("--order", type=int, choices=range(1, 7), help="most surfaces a path may touch")
    command.set_defaults(run=explain_command)


def explain_command(chosen: argparse.Namespace) -> int:
    """Trace a scene and say where one arrival comes from and what would remove it."""
    from ..pictures import ARCHIVE, draw_explanation_of
    from ..pipeline import check, trace
    from ..responses.explanation import explain, refuse_unknown_names
    from ..whole_files import whole_path
    from ..writers.archive import write_results
    from ..writers.explanation_text import explanation_lines

    compile_first()
    picture: Path | None = chosen.picture
    refuse_missing_folder(picture)
    # what can be refused at once is refused before the long part
    refuse_unknown_names(check(chosen.scene)[1], chosen.loudspeaker, chosen.listener, chosen.peak)
    results = trace(chosen.scene, progress, order=chosen.order)
    progress("working out what would remove it")
    told = explain(results, chosen.loudspeaker, chosen.listener, chosen.peak)
    say("")
    for line in explanation_lines(results, told):
        say(line)
    if picture is not None:
        arrival = told.arrival
        with whole_path(picture, "the picture") as part:
            write_results(results, part.with_name(ARCHIVE))
            trouble = draw_explanation_of(
                part.parent, arrival.loudspeaker, arrival.listener, arrival.number, part, progress
            )
            if trouble:
                raise PictureError(trouble)
        say(f"wrote {picture}")
    return 0
