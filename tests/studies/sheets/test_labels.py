from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from sim.studies.sheets.labels import MARK_MM, line_height_mm, mark_badges, placed_labels, text_width_mm
from sim.studies.sheets.layout import drawings_of
from sim.studies.sheets.records import Drawing, Label, Mark
from tests.studies.sheets.treated_rooms import lopsided, sloping


def boxes_mm(drawing: Drawing, scale: float) -> list[np.ndarray]:
    made = []
    for one in placed_labels(drawing, scale):
        half = 0.5 * np.array(
            [text_width_mm(one.label.words, one.size_pt, bold=one.label.bold), line_height_mm(one.size_pt)]
        )
        middle = one.middle * 1000.0 / scale
        made.append(np.concatenate([middle - half, middle + half]))
    return made


@pytest.mark.parametrize("results", [lopsided, sloping])
@pytest.mark.parametrize("scale", [25.0, 50.0])
def test_no_words_hide_others(results: object, scale: float) -> None:
    for drawing in drawings_of(results()):  # type: ignore[operator]
        for one, other in combinations(boxes_mm(drawing, scale), 2):
            shared = np.minimum(one[2:], other[2:]) - np.maximum(one[:2], other[:2])
            assert shared.min() <= 1e-9, drawing.title


def test_words_stay_inside_their_drawing() -> None:
    for drawing in drawings_of(lopsided()):
        frame = np.concatenate([drawing.low, drawing.high]) * 1000.0 / 25.0
        for box in boxes_mm(drawing, 25.0):
            assert np.all(box[:2] >= frame[:2] - 1e-6) and np.all(box[2:] <= frame[2:] + 1e-6), drawing.title


def test_a_label_keeps_off_a_mark() -> None:
    spot = np.array([1.0, 1.0])
    drawing = Drawing(
        "t", "", np.zeros(2), np.full(2, 2.0), (), marks=(Mark(spot, "L", "circle"),), labels=(Label("P1", spot),)
    )
    (placed,) = placed_labels(drawing, 25.0)
    assert np.abs((placed.middle - spot) * 40.0).max() >= 0.5 * MARK_MM


def test_letters_too_near_each_other_move_apart_and_others_stay() -> None:
    near = (Mark(np.array([1.0, 1.0]), "L", "circle"), Mark(np.array([1.02, 1.0]), "R", "square"))
    first, second = mark_badges(near, 50.0)
    assert first == pytest.approx([1.0, 1.0])
    assert np.linalg.norm(second - first) * 20.0 >= MARK_MM
    assert second[0] > first[0]
    far = (near[0], Mark(np.array([1.6, 1.0]), "R", "square"))
    assert mark_badges(far, 50.0)[1] == pytest.approx([1.6, 1.0])
