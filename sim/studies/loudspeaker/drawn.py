"""Draw what was understood of a loudspeaker, in a process of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from sim.progress import Report
from sim.showing.child_drawing import as_child, draw_in_child

MODULE: Final = "sim.studies.loudspeaker.drawn"


def draw_loudspeaker_of(word: str, model: str | None, picture: Path, report: Report) -> str:
    """Draw what was understood of a loudspeaker to a file; returns why that failed, or an empty text."""
    return draw_in_child(MODULE, "loudspeaker", picture, [word, *([model] if model is not None else [])], report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.acoustics.air import Air
    from sim.placement.models import loudspeaker
    from sim.studies.loudspeaker.picture import draw_loudspeaker

    draw_loudspeaker(loudspeaker(*sources), Air(), place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
