"""One arrival explained: in words on the screen, and as a picture."""

from __future__ import annotations

import argparse
from pathlib import Path

from sim.errors import PictureError
from sim.showing.arguments import order_argument, picture_argument, scene_argument
from sim.showing.terminal import compile_first, progress, refuse_missing_folder, say
from sim.studies.answering import say_answer


def explain_arguments(command: argparse.ArgumentParser) -> None:
    """Add what `explain` takes."""
    scene_argument(command)
    command.add_argument(
        "--peak", type=int, required=True, metavar="N", help="number as in arrivals.csv; 0 is the direct sound"
    )
    command.add_argument("--loudspeaker", metavar="NAME", help="left out, the first of the scene")
    command.add_argument("--listener", metavar="NAME", help="left out, the ear; or the name of the second seat")
    picture_argument(command)
    order_argument(command)
    command.set_defaults(run=explain_command)


def explain_command(chosen: argparse.Namespace) -> int:
    """Trace a scene and say where one arrival comes from and what would remove it."""
    from sim.machine.whole_files import whole_path
    from sim.showing.archive.results import NAME, write_results
    from sim.studies.explain.drawn import draw_explanation_of
    from sim.studies.explain.question import explain

    compile_first()
    picture: Path | None = chosen.picture
    refuse_missing_folder(picture)
    explained = explain(
        chosen.scene,
        chosen.peak,
        progress,
        loudspeaker=chosen.loudspeaker,
        listener=chosen.listener,
        order=chosen.order,
    )
    say("")
    say_answer(explained)
    if picture is not None:
        arrival = explained.arrival
        with whole_path(picture, "the picture") as part:
            write_results(explained.results, part.with_name(NAME))
            trouble = draw_explanation_of(
                part.parent, arrival.loudspeaker, arrival.listener, arrival.number, part, progress
            )
            if trouble:
                raise PictureError(trouble)
        say(f"wrote {picture}")
    return 0
