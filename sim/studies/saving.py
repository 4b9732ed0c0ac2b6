"""What is done with an answer: its words, its files, its pictures.

Each question's folder says it for its own answers: `lines`, `write` and `draw` of `sim.studies.QUESTION`.
"""

from __future__ import annotations

import os
from importlib import import_module
from pathlib import Path
from typing import Any

from sim.answers import Answer, Saveable
from sim.errors import OutputError, PictureError
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.progress import Report, say_nothing
from sim.showing.folder import results_folder
from sim.showing.words import write_lines


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
