"""Plain text in lines of one width."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.errors import OutputError
from sim.showing.words import WIDTH, listed, named, titled, wrapped, write_explanation

LONG = "a sentence that goes on " * 12


def test_lines_keep_their_width_and_indent() -> None:
    for lines, first, rest in (
        (wrapped(LONG, "   "), "   a", "   "),
        (listed([LONG]), "  - a", "    "),
        (named({"x.csv": LONG}), "  x.csv", "      "),
    ):
        assert len(lines) > 2 and max(map(len, lines)) <= WIDTH
        assert lines[0].startswith(first) and all(line.startswith(rest) for line in lines[1:])


def test_a_text_has_a_title_what_it_is_about_and_sections() -> None:
    text = titled("Room", ("About it.",), [("Files", ["  one"]), ("Mind", ["  - two"])])
    assert text == "Room\n====\n\nAbout it.\n\nFiles\n-----\n  one\n\nMind\n----\n  - two\n"


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="the explanation cannot be written"):
        write_explanation("text", tmp_path / "nowhere" / "README.txt")
