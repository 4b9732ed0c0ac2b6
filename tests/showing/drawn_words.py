"""Words of a figure as they are really drawn: none cut off by the border, none over another."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from sim.showing.labels import renderer_of
from sim.showing.style import house_style

SLACK_PX = 1.5


def drawn_texts(figure: Figure) -> list[Text]:
    """Texts that are drawn: tick labels beyond the limits of their axes exist but are not."""
    drawn: dict[Text, None] = {}
    draw = Text.draw

    def noted(text: Text, renderer: object, *rest: object, **more: object) -> None:
        if text.get_visible() and text.get_text().strip():
            drawn[text] = None
        draw(text, renderer, *rest, **more)

    with house_style(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(Text, "draw", noted)
        figure.canvas.draw()
    return list(drawn)


def words_of(figure: Figure) -> str:
    return "\n".join(text.get_text() for text in drawn_texts(figure))


def faults(figure: Figure) -> list[tuple[str, ...]]:
    """Words that are cut off, and pairs of words that share more than a hair."""
    renderer = renderer_of(figure)
    boxes = [(text.get_text(), text.get_window_extent(renderer).get_points()) for text in drawn_texts(figure)]
    assert len(boxes) > 8
    size = np.array([figure.bbox.width, figure.bbox.height])
    found: list[tuple[str, ...]] = [
        (words,) for words, (low, high) in boxes if (low < -SLACK_PX).any() or (high > size + SLACK_PX).any()
    ]
    for number, (words, (low, high)) in enumerate(boxes):
        for other, (other_low, other_high) in boxes[number + 1 :]:
            if (np.minimum(high, other_high) - np.maximum(low, other_low) > SLACK_PX).all():
                found.append((words, other))
    return found
