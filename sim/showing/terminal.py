"""What a command says while it works and when it is done."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from sim.answers import Answer
from sim.errors import OutputError
from sim.printable import printable
from sim.machine.stopping import go_on_unless_asked
from sim.machine.whole_files import refuse_name

if TYPE_CHECKING:
    from sim.loudspeakers.loudspeaker import Loudspeaker

A = TypeVar("A", bound=Answer)


def say(words: str) -> None:
    """Print to the screen."""
    print(printable(words), flush=True)  # noqa: T201
    go_on_unless_asked()


def progress(words: str) -> None:
    """Say what is happening, apart from what may be piped on."""
    print(f"  ... {printable(words)}", file=sys.stderr, flush=True)  # noqa: T201
    go_on_unless_asked()


def compile_first(*groups: str) -> None:
    """Have the kernels that a command wants compiled, and say so where that takes long.

    groups: as in `sim.compiling`; left out, those of a whole trace.
    """
    from sim.compiling import compile_kernels

    compile_kernels(progress, groups or ("rooms", "paths", "edges", "maps"))


def refuse_missing_folder(picture: Path | None) -> None:
    """Say at once that a picture cannot go where it should, before anything long is worked out.

    Raises
    ------
    OutputError
        If its folder is not there, or its name is not one of a picture and another file could be lost.
    """
    if picture is None:
        return
    if not refuse_name(picture).parent.is_dir():
        raise OutputError(f"{picture}: there is no such folder; make it first, or choose another place.")
    if picture.suffix.lower() != ".png" or picture.is_dir():
        raise OutputError(f"{picture}: a picture is a PNG file; give it a name that ends in .png.")


def say_answer(answer: Answer | Loudspeaker) -> None:
    """Print the words of an answer."""
    from sim.studies.answer_words import answer_lines

    for line in answer_lines(answer):
        say(line)


def answer_into_folder(chosen: argparse.Namespace, ask: Callable[[], A]) -> A:
    """Ask, write the answer into a results folder that is refused before the long part, say it, list the files."""
    from sim.studies.saving import write_answer
    from sim.showing.folder import results_folder

    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        answer = ask()
        write_answer(answer, folder, report=progress, pictures=not getattr(chosen, "no_pictures", True))
    say_answer(answer)
    say("")
    list_files(chosen.output)
    return answer


def draw_and_list(chosen: argparse.Namespace, answer: Answer) -> None:
    """Draw the pictures, numbers being safe, and list what there is.

    Pictures that this machine cannot draw are no failure.

    Raises
    ------
    OutputError
        If they cannot be written.
    """
    from sim.studies.saving import draw_answer

    folder: Path = chosen.output
    try:
        trouble = "" if chosen.no_pictures else draw_answer(answer, folder, progress)
    except OutputError as fault:
        raise OutputError(f"all numbers are in {folder}, but pictures are missing: {fault}") from None
    if trouble:
        say(f"some pictures could not be drawn; all numbers are there. {trouble}")
    say("")
    list_files(folder)


def list_files(folder: Path) -> None:
    """Say what was written to a folder, and what for."""
    from sim.showing.file_meanings import listed_files

    say(f"written to {folder}:")
    for line in listed_files(folder):
        say(line)
