"""Which of many layouts are worth a look, drawn in a process of its own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from sim.progress import Report
from sim.showing.child_drawing import as_child, drawn_beside
from sim.showing.folder import adding_to

MODULE: Final = "sim.studies.compare.drawn"


def draw_many(folders: Sequence[Path], picture: Path, report: Report) -> str:
    """Draw which of several results folders are worth a look to a file; returns why that failed, or an empty text."""
    home, sources = picture.parent, [str(folder) for folder in folders]
    with adding_to(home) as additions:
        return drawn_beside(MODULE, "many", additions, home, picture.name, sources, report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.showing.archive.results import NAME, read_results
    from sim.studies.compare.many import compare_many
    from sim.studies.compare.pareto_picture import draw_pareto

    draw_pareto(compare_many([read_results(Path(source) / NAME) for source in sources]), place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
