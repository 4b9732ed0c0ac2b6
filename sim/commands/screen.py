"""What a command says while it works and when it is done."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from ..answers import Answer
from ..errors import OutputError
from . import second_compiler

if TYPE_CHECKING:
    from ..loudspeakers.loudspeaker import Loudspeaker

A = TypeVar("A", bound=Answer)


def say(words: str) -> None:
    """Print to the screen."""
    print(words, flush=True)  # noqa: T201


def progress(words: str) -> None:
    """Say what is happening, apart from what may be piped on."""
    print(f"  ... {words}", file=sys.stderr, flush=True)  # noqa: T201


def say_if_cold(edges: bool = True, paths: bool = True) -> None:
    """Warn that the first run on a machine compiles the kernels, and have a second process help with it.

    edges: whether sound round edges will be worked out; paths: whether mirrored paths will be looked for, without which
    there is nothing for a second process to do.
    """
    if second_compiler.is_cold():
        if paths:
            second_compiler.start(edges)
        progress("first run on this machine: compiling the ray kernels takes about a quarter of a minute, once")


def refuse_missing_folder(picture: Path | None) -> None:
    """Say at once that a picture has no folder to go to, before anything long is worked out.

    Raises
    ------
    OutputError
        If its folder is not there.
    """
    if picture is not None and not picture.resolve().parent.is_dir():
        raise OutputError(f"{picture}: there is no such folder; make it first, or choose another place.")


def say_answer(answer: Answer | Loudspeaker) -> None:
    """Print the words of an answer."""
    from ..writers.answer_words import answer_lines

    for line in answer_lines(answer):
        say(line)


def answer_into_folder(chosen: argparse.Namespace, ask: Callable[[], A]) -> A:
    """Ask, write the answer into a results folder that is refused before the long part, say it, list the files."""
    from ..saving import write_answer
    from ..writers.folder import results_folder

    with results_folder(chosen.output, overwrite=chosen.replace) as folder:
        answer = ask()
        write_answer(answer, folder, report=progress, pictures=not getattr(chosen, "no_pictures", True))
    say_answer(answer)
    say("")
    list_files(chosen.output)
    return answer


def draw_and_list(chosen: argparse.Namespace, answer: Answer) -> None:
    """Draw the pictures, numbers being safe, and list what there is; missing pictures are no failure."""
    from ..saving import draw_answer

    folder: Path = chosen.output
    trouble = "" if chosen.no_pictures else draw_answer(answer, folder, progress)
    if trouble:
        say(f"some pictures could not be drawn; all numbers are there. {trouble}")
    say("")
    list_files(folder)


def list_files(folder: Path) -> None:
    """Say what was written to a folder, and what for."""
    from ..writers.file_meanings import listed_files

    say(f"written to {folder}:")
    for line in listed_files(folder):
        say(line)
