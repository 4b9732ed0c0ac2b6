"""The picture of a stack: everything inside the frame, angles and heights named."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import matplotlib.image
import pytest

from sim.studies.stand.picture import draw_stand, stand_figure
from sim.studies.stand.pieces import read_piece
from sim.studies.stand.search import best_stacks
from sim.studies.stand.stack import Wish

WISH = Wish(1.20, 1.2, 0.18, 0.29, 0.23, 5.5, 0.22)
HAVE = ("block 390x190x190 12kg x4", "plate 300x300x10 x2", "isolator 50x50x30 compression 3mm at 2kg")


@pytest.mark.parametrize("wish", [WISH, replace(WISH, axis_height_m=0.5, forward_m=0.04)])
def test_heights_and_angles_are_written(wish: Wish) -> None:
    stack = best_stacks([read_piece(text) for text in HAVE], wish, best=1, soft=True)[0]
    side, front = stand_figure(stack, wish).axes
    words = [text.get_text() for text in side.texts]
    assert f"{1000 * stack.height_m:.0f}" in words
    assert f"{stack.tips.forward_deg:.1f}°" in words and f"{stack.tips.rearward_deg:.1f}°" in words
    assert [text.get_text() for text in front.texts].count(f"{stack.tips.sideways_deg:.1f}°") == 2
    low, high = side.get_xlim()
    assert low < 1000.0 * stack.outline_m[:, 0].min() and 1000.0 * stack.outline_m[:, 0].max() < high
    assert 1000.0 * stack.outline_m[:, 1].max() < side.get_ylim()[1]


def test_it_is_written_as_png(tmp_path: Path) -> None:
    stack = best_stacks([read_piece("plate 150x150x980 9kg")], WISH, best=1)[0]
    path = draw_stand(stack, WISH, tmp_path / "stand.png")
    assert matplotlib.image.imread(path).shape[:2] == (1110, 1500)
    assert "WARNING" in stand_figure(stack, WISH).texts[0].get_text()
