"""Draw one arrival of a results folder, in a process of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from sim.progress import Report
from sim.showing.child_drawing import as_child, draw_in_child

MODULE: Final = "sim.studies.explain.drawn"


def draw_explanation_of(
    folder: Path, loudspeaker: str, listener: str, number: int, picture: Path, report: Report
) -> str:
    """Draw one arrival of a results folder to a file; returns why that failed, or an empty text."""
    return draw_in_child(MODULE, "explain", picture, [str(folder), loudspeaker, listener, str(number)], report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.showing.archive.results import NAME, read_results
    from sim.studies.explain.explanation import explain
    from sim.studies.explain.picture import draw_explanation

    folder, name, listener, number = sources
    traced = read_results(Path(folder) / NAME)
    draw_explanation(traced, explain(traced, name, listener, int(number)), place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
