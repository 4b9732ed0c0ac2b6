"""What commands do with an answer: say it, write it into a results folder, draw it, list the files."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from sim.errors import OutputError
from sim.showing.terminal import list_files, progress, say

if TYPE_CHECKING:  # commands import this to say what they take, which must not wait for the libraries of all answers
    from sim.answers import Answer
    from sim.loudspeakers.loudspeaker import Loudspeaker

A = TypeVar("A", bound="Answer")


def say_answer(answer: Answer | Loudspeaker) -> None:
    """Print the words of an answer."""
    from sim.studies.saving import answer_lines

    for line in answer_lines(answer):
        say(line)


def answer_into_folder(chosen: argparse.Namespace, ask: Callable[[], A]) -> A:
    """Ask, write the answer into a results folder that is refused before the long part, say it, list the files."""
    from sim.showing.folder import results_folder
    from sim.studies.saving import write_answer

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
    from sim.showing.file_meanings import NAME, write_folder_page
    from sim.showing.folder import adding_to
    from sim.studies.saving import answer_lines, draw_answer

    folder: Path = chosen.output
    trouble = ""
    try:
        if not chosen.no_pictures:
            trouble = draw_answer(answer, folder, progress)
            with adding_to(folder) as additions:
                write_folder_page(
                    folder, [_title(answer, folder), *answer_lines(answer)], additions.beside(folder) / NAME
                )
                additions.move_in()
    except OutputError as fault:
        raise OutputError(f"all numbers are in {folder}, but pictures are missing: {fault}") from None
    if trouble:
        say(f"some pictures could not be drawn; all numbers are there. {trouble}")
    say("")
    list_files(folder)


def _title(answer: Answer, folder: Path) -> str:
    """What the answer is on: the title of its scene, of several, or else the name of its folder."""
    scene = getattr(answer, "scene", None)
    titles = getattr(answer, "titles", ()) if scene is None else [scene.blueprint.title]
    return "; ".join(titles) or folder.name
