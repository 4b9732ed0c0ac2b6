"""What early reflections do to a programme, to be listened to: files that are equally loud."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.showing.terminal import compile_first, list_files, order_argument, progress, say, scene_argument, told_scene
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.progress import Report
    from sim.studies.listen.records import Listening


def lines(made: Listening) -> list[str]:
    """What the command says."""
    from sim.studies.listen.text import listening_lines

    return listening_lines(made)


def write(made: Listening, folder: Path, report: Report, pictures: bool) -> None:
    """Write the files to listen to, their gains as a table, and what to mind."""
    from sim.machine.whole_files import write_whole
    from sim.measuring.wave_files import pcm_bytes
    from sim.showing.numbers import number_cell, write_table
    from sim.showing.words import write_lines

    for one in made.files:
        write_whole(folder / one.name, pcm_bytes(one.samples, made.rate_hz), one.name)
    rows = [[one.name, number_cell(one.gain_db, 2), number_cell(one.true_peak_db, 2)] for one in made.files]
    write_table(folder / "levels.csv", ["file", "gain_db", "true_peak_db"], rows)
    write_lines(lines(made), folder / "listen.txt")


# The command.


def listen_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan listen`."""
    scene_argument(command)
    command.add_argument("programme", type=Path, help="WAV file of one or two channels, up to three minutes")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.add_argument("--against", type=Path, metavar="SCENE", help="also another layout of the room")
    command.add_argument(
        "--without", action="append", metavar="NAME", help="leave out this piece, panel or surface (default: the desk)"
    )
    command.add_argument("--head", type=Path, metavar="AES69", help="head-related responses, a file of your own")
    command.add_argument("--listener", metavar="NAME", help="left out, the ear; or the name of the second seat")
    order_argument(command)
    command.set_defaults(run=listen_command)


def listen_command(chosen: argparse.Namespace) -> int:
    """Trace a scene, make the files; nothing is played."""
    from sim.measuring.head_files import read_head_file
    from sim.showing.folder import results_folder
    from sim.studies.listen.listening import listen, read_programme
    from sim.studies.saving import write_answer

    read_programme(chosen.programme)  # before the long part
    if chosen.head is not None:
        read_head_file(chosen.head)
    compile_first()
    reads = [chosen.scene, chosen.programme, *(one for one in (chosen.against, chosen.head) if one is not None)]
    with results_folder(chosen.output, overwrite=chosen.replace, reads=reads) as folder:
        made = listen(
            told_scene(chosen),
            chosen.programme,
            progress,
            against=chosen.against,
            without=chosen.without,
            head=chosen.head,
            listener=chosen.listener,
            order=chosen.order,
        )
        write_answer(made, folder, report=progress)
    say_answer(made)
    say("")
    list_files(chosen.output)
    return 0
