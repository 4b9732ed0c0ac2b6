"""Draw what an absorber returns, in a process of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from sim.progress import Report
from sim.showing.child_drawing import as_child, draw_in_child

MODULE: Final = "sim.studies.absorber.drawn"


def draw_absorber_of(words: str, picture: Path, report: Report) -> str:
    """Draw what an absorber returns to a file; returns why that failed, or an empty text."""
    return draw_in_child(MODULE, "absorber", picture, [words], report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.acoustics.air import Air
    from sim.blueprint.build_ups import build_up_in_words
    from sim.studies.absorber.picture import draw_absorber

    draw_absorber(build_up_in_words(sources[0]), Air(), place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
