"""One arrival in words: each loss, and what would remove it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import PictureError
from sim.progress import Report
from sim.showing.child_drawing import as_child, draw_in_child
from sim.showing.terminal import (
    compile_first,
    order_argument,
    picture_argument,
    progress,
    refuse_missing_folder,
    say,
    scene_argument,
    told_scene,
)
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.studies.explain.measured import Candidates
    from sim.studies.explain.records import Explanation


def lines(explanation: Explanation | Candidates) -> list[str]:
    """What the command says."""
    from sim.studies.explain.measured import Candidates, candidate_lines

    if isinstance(explanation, Candidates):
        return candidate_lines(explanation)
    from sim.studies.explain.text import explanation_lines

    return explanation_lines(explanation.results, explanation)


# The command.


def explain_arguments(command: argparse.ArgumentParser) -> None:
    """Add what `explain` takes."""
    scene_argument(command)
    what = command.add_mutually_exclusive_group(required=True)
    what.add_argument("--peak", type=int, metavar="N", help="number as in arrivals.csv; 0 is the direct sound")
    what.add_argument(
        "--ms", type=float, metavar="MS", help="a measured peak, ms after the direct sound: what could it be"
    )
    what.add_argument("--hz", type=float, metavar="HZ", help="a measured dip: what could it be")
    command.add_argument(
        "--loudspeaker", metavar="NAME", help="left out, the first of the scene (--ms and --hz: all of them)"
    )
    command.add_argument("--listener", metavar="NAME", help="left out, the ear; or the name of the second seat")
    picture_argument(command)
    order_argument(command)
    command.set_defaults(run=explain_command)


def explain_command(chosen: argparse.Namespace) -> int:
    """Trace a scene and say where one arrival comes from and what would remove it."""
    from sim.machine.whole_files import whole_path
    from sim.showing.archive.results import NAME, write_results
    from sim.studies.explain.question import explain

    picture: Path | None = chosen.picture
    if chosen.peak is None:
        return _measured(chosen)
    compile_first()
    refuse_missing_folder(picture)
    explained = explain(
        told_scene(chosen),
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


def _measured(chosen: argparse.Namespace) -> int:
    """Say what a measured peak or dip could be."""
    from sim.studies.explain.measured import candidates, refuse_reading

    if chosen.picture is not None:
        raise PictureError("--picture: it draws one arrival; give --peak with it, the number that --ms or --hz finds.")
    refuse_reading(chosen.ms, chosen.hz)
    compile_first()
    found = candidates(
        told_scene(chosen),
        ms=chosen.ms,
        hz=chosen.hz,
        report=progress,
        loudspeaker=chosen.loudspeaker,
        listener=chosen.listener,
        order=chosen.order,
    )
    say("")
    say_answer(found)
    return 0


# Draw one arrival of a results folder, in a process of its own.

MODULE: Final = "sim.studies.explain"


def draw_explanation_of(
    folder: Path, loudspeaker: str, listener: str, number: int, picture: Path, report: Report
) -> str:
    """Draw one arrival of a results folder to a file; returns why that failed, or an empty text."""
    return draw_in_child(MODULE, "explain", picture, [str(folder), loudspeaker, listener, str(number)], report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.showing.archive.results import NAME, read_results
    from sim.studies.explain.explanation import explain
    from sim.studies.explain.picture import draw_explanation

    folder, name, listener, number = sources
    traced = read_results(Path(folder) / NAME)
    draw_explanation(traced, explain(traced, name, listener, int(number)), place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
