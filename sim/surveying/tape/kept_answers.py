"""Answers of a run that was stopped: kept in a hidden file beside the folder that is to be made, until it is made."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from sim.errors import OutputError
from sim.machine.whole_files import write_whole

LAYOUT: Final = 1
SUFFIX: Final = ".bounceplan-answers"
_MOST: Final = 1000
"""More answers than any room takes; a file that holds more is not of ours."""
_LARGEST: Final = 1_000_000


def answers_place(folder: Path) -> Path:
    """Return where the answers for a folder are kept: beside it, or beside the first of its parents that is missing."""
    whole = folder.resolve()
    parent = next((one for one in whole.parents if one.is_dir()), whole.parent)
    name = "-".join(whole.relative_to(parent).parts)
    return parent / f".{name}{SUFFIX}"


def keep_answers(place: Path, answers: Sequence[str]) -> None:
    """Keep answers, in place of those kept before.

    Raises
    ------
    OutputError
        If they cannot be written.
    """
    text = json.dumps({"layout": LAYOUT, "answers": list(answers)}, ensure_ascii=False, indent=1)
    write_whole(place, f"{text}\n", "the answers")


def kept_answers(place: Path) -> list[str]:
    """Return the answers that were kept, none where there are none.

    Raises
    ------
    OutputError
        If the file is there and cannot be used.
    """
    try:
        if place.stat().st_size > _LARGEST:
            raise ValueError
        found = json.loads(place.read_text(encoding="utf-8"))
        answers = found["answers"]
        if found["layout"] != LAYOUT or len(answers) > _MOST or not all(isinstance(one, str) for one in answers):
            raise ValueError
    except FileNotFoundError:
        return []
    except OSError as fault:
        raise OutputError(f"{place} cannot be read ({fault.strerror}); take it away to start anew.") from None
    except (ValueError, KeyError, TypeError, RecursionError):
        raise OutputError(f"{place} holds no answers of an earlier run; take it away to start anew.") from None
    return list(answers)


def forget_answers(place: Path) -> None:
    """Take the kept answers away, if they are there."""
    with suppress(OSError):
        place.unlink(missing_ok=True)
