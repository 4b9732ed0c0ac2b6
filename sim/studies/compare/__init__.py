"""Two or more layouts side by side: what improved, what got worse, what did not change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.compare.comparison import Comparison


MANY: Final = 3
"""From so many layouts on there is a table with a row for each."""
MOST_SAID: Final = 8
"""Up to so many layouts each is also compared with the first; comparison.txt always does."""


def lines(comparison: Comparison) -> list[str]:
    """What the command says."""
    from sim.studies.compare.many import compare_many
    from sim.studies.compare.text import comparison_lines, many_lines

    said = comparison_lines(comparison)
    if len(comparison.layouts) < MANY:
        return said
    many = many_lines(compare_many(comparison.layouts))
    return [*many, "", *said] if len(comparison.layouts) <= MOST_SAID else many


def write(comparison: Comparison, folder: Path, _: Report, __: bool) -> None:
    """Write each layout into a folder of its letter, and what differs."""
    from sim.showing.traced import write_traced
    from sim.showing.words import write_lines
    from sim.studies.compare.many import compare_many
    from sim.studies.compare.text import comparison_lines, write_comparison, write_ear_comparison, write_many

    for letter, results in zip(_letters(comparison), comparison.layouts, strict=True):
        (folder / letter).mkdir()
        write_traced(results, folder / letter)
    write_lines(comparison_lines(comparison), folder / "comparison.txt")
    write_comparison(comparison, folder / "comparison.csv")
    write_ear_comparison(comparison, folder / "comparison_at_the_ear.csv")
    if len(comparison.layouts) >= MANY:
        write_many(compare_many(comparison.layouts), folder)


def draw(comparison: Comparison, place: Path, report: Report) -> str:
    """Draw all layouts, also side by side; returns why some failed, or an empty text."""
    from sim.studies.compare.drawn import draw_many
    from sim.studies.draw.drawn import draw_folders

    parts = [place / letter for letter in _letters(comparison)]
    trouble = draw_many(parts, place / "pareto.png", report) if len(parts) >= MANY else ""
    return " ".join(each for each in (trouble, draw_folders(parts, place, report)) if each)


def _letters(comparison: Comparison) -> list[str]:
    from sim.showing.words import letter_of

    return [letter_of(number) for number in range(len(comparison.layouts))]
