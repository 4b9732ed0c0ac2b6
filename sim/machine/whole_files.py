"""Single files that appear whole or not at all, wherever something is written; the one place that does it.

Whatever a library makes is made in memory first: a disk that is full then meets one plain write, whose failure is one
sentence, and no library's half-closed file.
"""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sim.errors import OutputError
from sim.machine.claims import LONGEST_NAME, claimed, is_hidden_work

_UNPRINTABLE: Final = frozenset({"Cc", "Zl", "Zp"})
"""Kinds of characters of Unicode that control a screen or break a line."""


def write_whole(path: Path, content: bytes | str, what: str = "the file", *, make_folder: bool = False) -> Path:
    """Write a file under another name and move it to its place; text is written as UTF-8.

    `what` names the content for the message: "the table", "the drawings".  With `make_folder` its folder is made.

    Raises
    ------
    OutputError
        If it cannot be written, or another process is writing it; a file of this name stays as it was.
    """
    data = content.encode("utf-8", "surrogateescape") if isinstance(content, str) else content
    with whole_path(path, what, make_folder=make_folder) as part, part.open("xb") as file:
        file.write(data)
        file.flush()
        if not any(is_hidden_work(name) for name in path.resolve().parent.parts):  # a folder is seen to as a whole
            os.fsync(file.fileno())
    return path


@contextmanager
def whole_path(path: Path, what: str = "the file", *, make_folder: bool = False) -> Iterator[Path]:
    """Give a path to write a file to, which takes the place of `path` when all went well.

    Raises
    ------
    OutputError
        If the file cannot be written, or another process is writing it.
    """
    try:
        place = path.resolve()
        if make_folder:
            place.parent.mkdir(parents=True, exist_ok=True)
        with claimed(place, path) as claim:
            yield claim.part
            claim.put_in_place()
    except (OSError, ValueError) as fault:
        if isinstance(fault, ValueError) and "null byte" not in str(fault):
            raise
        raise OutputError(_sentence(path, what, fault)) from None


def _sentence(path: Path, what: str, fault: OSError | ValueError) -> str:
    reason = getattr(fault, "strerror", None) or str(fault)
    return f"{path}: {what} cannot be written ({reason}); choose a folder that may be written to and has room."


def refuse_name(out: Path) -> Path:
    """Return the place of an output, links followed, after refusing a name that no file can have or nobody can read.

    Raises
    ------
    OutputError
        If the name holds control characters, is too long, or leads in a circle.
    """
    if any(unicodedata.category(letter) in _UNPRINTABLE for letter in str(out)):
        raise OutputError(f"{str(out)!r}: the name has a control character in it; choose another with -o.")
    long = next((part for part in out.parts if len(os.fsencode(part)) > LONGEST_NAME), None)
    if long is not None:
        raise OutputError(
            f"{long[:20]}...: the name is {len(os.fsencode(long))} bytes long and {LONGEST_NAME} is the most; choose"
            " another with -o."
        )
    try:
        place = out.resolve()
        if os.path.lexists(place):
            place.stat()
    except (OSError, RuntimeError) as fault:
        reason = getattr(fault, "strerror", None) or "it is a link that leads back to itself"
        raise OutputError(
            f"{str(out)[:80]}: nothing can be written there ({reason}); choose another with -o."
        ) from None
    return place
