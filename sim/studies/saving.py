"""What is done with an answer: its words, its files, its pictures; for commands and for the library.

Each question's folder says it for its own answers: `lines`, `write` and `draw` of `sim.studies.QUESTION`.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from sim.answers import Answer, Saveable
from sim.errors import OutputError, PictureError
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.progress import Report, say_nothing
from sim.showing.folder import results_folder
from sim.showing.terminal import list_files, progress, say
from sim.showing.words import write_lines

if TYPE_CHECKING:
    from sim.answers import Answer
    from sim.loudspeakers.loudspeaker import Loudspeaker


def words(answer: Answer | Loudspeaker) -> str:
    """Return what the command would print of an answer.

    Raises
    ------
    OutputError
        If it is no answer of a question of `sim`.
    """
    return "\n".join(answer_lines(answer))


def answer_lines(answer: Answer | Loudspeaker) -> list[str]:
    """Lines of text on an answer; OutputError as `words`."""
    say = getattr(_question_of(answer), "lines", None)
    if say is None:
        raise OutputError(f"{type(answer).__name__} has no words of its own; write its files with sim.save.")
    lines: list[str] = say(answer)
    return lines


def save(
    answer: Saveable,
    place: Path | str,
    *,
    replace: bool = False,
    pictures: bool = False,
    report: Report = say_nothing,
) -> Path:
    """Write what the command writes of an answer, and return where it is.

    Parameters
    ----------
    answer
        What a question of `sim` returned.
    place
        Folder to make; for a report the file, which ends in .html.
    replace
        Replace results that are there; files of others in the folder are kept.
    pictures
        Draw pictures too, which takes longer than the rest.
    report
        Called with a few words at the start of each stage.

    Raises
    ------
    OutputError
        If the place is taken or cannot be written; nothing half-written stays.
    PictureError
        If pictures cannot be drawn on this machine; all else is written then.
    """
    place = Path(os.fspath(place))
    question = _question_of(answer)
    if hasattr(question, "write_page"):  # one file, not a folder
        question.refuse_page(place, replace=replace)
        question.write_page(answer, place)
        return place
    with results_folder(place, overwrite=replace) as folder:
        write_answer(answer, folder, report=report, pictures=pictures)
    trouble = draw_answer(answer, place, report) if pictures else ""
    if trouble:
        raise PictureError(trouble)
    return place


def write_answer(
    answer: Saveable, folder: Path, *, report: Report = say_nothing, pictures: bool = False, **choices: Any
) -> None:
    """Write the files of an answer into a folder that exists; pictures only of studies that draw their own.

    `choices` are further ones of the question, such as the paper of its drawings.

    Raises
    ------
    OutputError
        If there is nothing to save of it, or something cannot be written.
    """
    write = getattr(_question_of(answer), "write", None)
    if write is None:
        write_lines(answer_lines(answer), folder / "answer.txt")  # type: ignore[arg-type]
    else:
        write(answer, folder, report, pictures, **choices)


def draw_answer(answer: Saveable, place: Path, report: Report) -> str:
    """Draw the pictures of traced layouts, now that all numbers are safe; returns why some failed, or an empty text."""
    draw = getattr(_question_of(answer), "draw", None)
    return str(draw(answer, place, report)) if draw is not None else ""


def _question_of(answer: object) -> Any:
    """The folder of the question that an answer is of."""
    question = getattr(type(answer), "question", "")
    if not question:
        raise OutputError(f"{type(answer).__name__} has no words of its own; give what a question of sim returned.")
    return import_module(f"sim.studies.{question}")


# What commands do with an answer: say it, write it into a results folder, draw it, list the files.

A = TypeVar("A", bound="Answer")


def say_answer(answer: Answer | Loudspeaker) -> None:
    """Print the words of an answer."""
    for line in answer_lines(answer):
        say(line)


def answer_into_folder(chosen: argparse.Namespace, ask: Callable[[], A]) -> A:
    """Ask, write the answer into a results folder that is refused before the long part, say it, list the files."""
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
    folder: Path = chosen.output
    try:
        trouble = "" if chosen.no_pictures else draw_answer(answer, folder, progress)
    except OutputError as fault:
        raise OutputError(f"all numbers are in {folder}, but pictures are missing: {fault}") from None
    if trouble:
        say(f"some pictures could not be drawn; all numbers are there. {trouble}")
    say("")
    list_files(folder)
