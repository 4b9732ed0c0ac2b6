"""What was measured held against the prediction: which surface made which peak, what is missing, what is unknown."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.showing.terminal import compile_first, list_files, order_argument, progress, say, scene_argument, told_scene
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.progress import Report
    from sim.studies.match.records import Match


def lines(found: Match) -> list[str]:
    """What the command says."""
    from sim.studies.match.text import match_lines

    return match_lines(found)


def write(found: Match, folder: Path, report: Report, pictures: bool) -> None:
    """Write the verdict in words, the tables and the picture."""
    from sim.showing.words import write_lines
    from sim.studies.match.tables import write_match_tables

    write_lines(lines(found), folder / "match.txt")
    write_match_tables(found, folder)
    if pictures:
        from sim.studies.match.picture import draw_match

        report("drawing")
        draw_match(found, folder / "match.png")


# The command.


def match_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan match`."""
    scene_argument(command)
    command.add_argument(
        "responses", type=Path, nargs="+", metavar="RESPONSE", help="impulse responses: of the left monitor, the right"
    )
    command.add_argument(
        "--loudspeaker",
        action="append",
        metavar="NAME",
        help="whose response it is, once for each file (default: from left to right)",
    )
    command.add_argument("--listener", metavar="NAME", help="left out, the ear; or the name of the second seat")
    order_argument(command)
    command.add_argument("-o", "--output", type=Path, metavar="DIR", help="results folder to make")
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.add_argument("--no-pictures", action="store_true", help="numbers and words only")
    command.add_argument(
        "--write-corrected",
        type=Path,
        metavar="NEW.toml",
        help="also write a scene with the numbers that the measured delays put elsewhere",
    )
    command.set_defaults(run=match_command)


def match_command(chosen: argparse.Namespace) -> int:
    """Trace a scene, hold measured responses against it, say what fits."""
    from sim.showing.folder import results_folder
    from sim.studies.match.corrected import refuse_corrected
    from sim.studies.match.match import match, read_responses
    from sim.studies.saving import write_answer

    if chosen.write_corrected is not None:
        refuse_corrected(chosen.write_corrected, chosen.scene, replace=chosen.replace)
    read_responses(chosen.responses)  # before the long part
    compile_first()

    def ask() -> Match:
        return match(
            told_scene(chosen),
            chosen.responses,
            progress,
            loudspeakers=chosen.loudspeaker,
            listener=chosen.listener,
            order=chosen.order,
        )

    if chosen.output is None:
        found = ask()
        say_answer(found)
        _correct(found, chosen)
        return 0
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene, *chosen.responses]) as folder:
        found = ask()
        write_answer(found, folder, report=progress, pictures=not chosen.no_pictures)
    say_answer(found)
    say("")
    list_files(chosen.output)
    _correct(found, chosen)
    return 0


def _correct(found: Match, chosen: argparse.Namespace) -> None:
    """Write the corrected scene where that was asked for, and say what differs in it."""
    if chosen.write_corrected is None:
        return
    from sim.blueprint.reader import read_scene
    from sim.showing.numbers import joined
    from sim.studies.match.corrected import write_corrected, written

    write_corrected(found, chosen.write_corrected)
    read_scene(chosen.write_corrected)
    say("")
    say(f"wrote {chosen.write_corrected}, with other numbers for {joined([one.name for one in written(found)])}")
