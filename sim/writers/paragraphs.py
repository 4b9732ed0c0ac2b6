"""Plain text as it is printed and written: sentences as lists, wrapped lines, names with meanings, titled sections."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final

from ..whole_files import write_whole

WIDTH: Final = 100


def wrapped(text: str, indent: str = "") -> list[str]:
    """A paragraph as lines that all begin with an indent."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def listed(sentences: Iterable[str]) -> list[str]:
    """Sentences as a list, each with a dash before it."""
    lines = []
    for sentence in sentences:
        lines += textwrap.wrap(sentence, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return lines


def named(entries: Mapping[str, str]) -> list[str]:
    """Names, each with its meaning in the lines below."""
    lines = []
    for name, meaning in entries.items():
        lines += [f"  {name}", *wrapped(meaning, "      ")]
    return lines


def titled(title: str, about: Sequence[str], sections: Iterable[tuple[str, Sequence[str]]]) -> str:
    """A whole text: title, sentences about it, and sections of lines under underlined headings."""
    lines = [title, "=" * len(title), ""]
    for sentence in about:
        lines += wrapped(sentence)
    for heading, body in sections:
        lines += ["", heading, "-" * len(heading), *body]
    return "\n".join(lines) + "\n"


def write_lines(lines: Sequence[str], path: Path) -> None:
    """Write lines of text.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_whole(path, "\n".join(lines) + "\n", "the text")


def write_explanation(text: str, path: Path) -> None:
    """Write a text that explains a folder.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_whole(path, text, "the explanation")
