"""Two measurements of one room, before and after: what the panels did against what was promised, and the target."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.showing.terminal import compile_first, list_files, order_argument, progress, say, scene_argument, told_scene
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.progress import Report
    from sim.studies.proof.records import Proof


def lines(found: Proof) -> list[str]:
    """What the command says."""
    from sim.studies.proof.text import proof_lines

    return proof_lines(found)


def write(found: Proof, folder: Path, report: Report, pictures: bool) -> None:
    """Write the verdict in words, the tables, the page for the client, and the picture."""
    from sim.showing.words import write_lines
    from sim.studies.proof.page_parts import write_proof_page
    from sim.studies.proof.tables import write_proof_tables

    write_lines(lines(found), folder / "proof.txt")
    write_proof_tables(found, folder)
    write_proof_page(found, folder / "proof.html")
    if pictures:
        from sim.studies.proof.picture import draw_proof

        report("drawing")
        draw_proof(found, folder / "measured_before_and_after.png")


# The command.


def proof_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan proof`."""
    scene_argument(command)
    for when, words in (("before", "without the panels"), ("after", "with them")):
        command.add_argument(
            f"--{when}",
            type=Path,
            nargs="+",
            required=True,
            metavar="RESPONSE",
            help=f"impulse responses {words}: of the left monitor, the right",
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
    command.add_argument("--no-pictures", action="store_true", help="numbers, words and the page only")
    command.set_defaults(run=proof_command)


def proof_command(chosen: argparse.Namespace) -> int:
    """Trace a scene with and without its panels, hold both measurements against it, say what the panels did."""
    from sim.blueprint.reader import read_scene
    from sim.showing.folder import results_folder
    from sim.studies.match.match import read_responses
    from sim.studies.proof.proof import proof, refuse_what_proves_nothing
    from sim.studies.saving import write_answer

    scene = read_scene(told_scene(chosen))
    refuse_what_proves_nothing(scene.blueprint.panels, chosen.before, chosen.after)  # all of it before the long part
    for files in (chosen.before, chosen.after):
        read_responses(files)
    compile_first()

    def ask() -> Proof:
        return proof(
            scene,
            chosen.before,
            chosen.after,
            progress,
            loudspeakers=chosen.loudspeaker,
            listener=chosen.listener,
            order=chosen.order,
        )

    if chosen.output is None:
        say_answer(ask())
        return 0
    read = [chosen.scene, *chosen.before, *chosen.after]
    with results_folder(chosen.output, overwrite=chosen.replace, reads=read) as folder:
        found = ask()
        write_answer(found, folder, report=progress, pictures=not chosen.no_pictures)
    say_answer(found)
    say("")
    list_files(chosen.output)
    return 0
