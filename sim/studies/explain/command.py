"""One arrival explained: in words on the screen, and as a picture."""

from __future__ import annotations

import argparse
from pathlib import Path

from sim.errors import PictureError
from sim.showing.terminal import compile_first, progress, refuse_missing_folder, say, say_answer


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
    from sim.pictures import ARCHIVE, draw_explanation_of
    from sim.studies.explain.question import explain
    from sim.machine.whole_files import whole_path
    from sim.showing.archive.results import write_results

    compile_first()
    picture: Path | None = chosen.picture
    refuse_missing_folder(picture)
    told = explain(
        chosen.scene,
        chosen.peak,
        progress,
        loudspeaker=chosen.loudspeaker,
        listener=chosen.listener,
        order=chosen.order,
    )
    say("")
    say_answer(told)
    if picture is not None:
        arrival = told.arrival
        with whole_path(picture, "the picture") as part:
            write_results(told.results, part.with_name(ARCHIVE))
            trouble = draw_explanation_of(
                part.parent, arrival.loudspeaker, arrival.listener, arrival.number, part, progress
            )
            if trouble:
                raise PictureError(trouble)
        say(f"wrote {picture}")
    return 0
