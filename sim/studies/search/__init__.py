"""Several good layouts that differ, within ranges."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.search.search import Search


def lines(search: Search) -> list[str]:
    """What the command says."""
    from sim.studies.search.text import search_lines

    return search_lines(search)


def write(search: Search, folder: Path, _: Report, __: bool) -> None:
    """Write what was found in words, as a table, and as scenes that other commands take."""
    from sim.showing.words import write_lines
    from sim.studies.search.text import write_layout_scenes, write_layouts

    write_lines(lines(search), folder / "search.txt")
    write_layouts(search, folder / "layouts.csv")
    write_layout_scenes(search, folder)
