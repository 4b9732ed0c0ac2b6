"""Words on sheets: always as they were written, never as formulas."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from matplotlib.axes import Axes
from matplotlib.text import Text

from ..drawings.letters import text_width_mm
from ..drawings.papers import Words
from .style import INK


def write_words(place: Axes, words: Iterable[Words]) -> None:
    """Write lines of words whose places are in millimetres."""
    for one in words:
        write(place, one.x_mm, one.y_mm, one.text, one.size_pt, bold=one.bold)


def write(
    place: Axes, x_mm: float, y_mm: float, words: str, size_pt: float, *, bold: bool = False, **more: Any
) -> Text:
    """Write one line; a dollar sign is a dollar sign."""
    style: dict[str, Any] = {"color": INK, "va": "baseline", "ha": "left", "zorder": 8, **more}
    return place.text(
        x_mm, y_mm, words, fontsize=size_pt, fontweight="bold" if bold else "normal", parse_math=False, **style
    )


def fitted(
    words: str, size_pt: float, room_mm: float, *, bold: bool = False, least_pt: float = 6.0
) -> tuple[str, float]:
    """Words and a size at which they fit into some room; smaller first, then cut short."""
    while text_width_mm(words, size_pt, bold=bold) > room_mm and size_pt > least_pt:
        size_pt -= 0.25
    while len(words) > 1 and text_width_mm(words, size_pt, bold=bold) > room_mm:
        words = words.removesuffix("...")[:-1].rstrip() + "..."
    return words, size_pt
