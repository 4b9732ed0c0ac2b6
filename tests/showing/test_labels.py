"""Labels keep apart and stay on the paper."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sim.showing.labels import headline, overlap_px2, settle, text_size
from sim.showing.style import new_figure

FRAME = np.array([0.0, 0.0, 800.0, 600.0])
spots = st.lists(st.tuples(st.floats(0, 800), st.floats(0, 600)), min_size=1, max_size=25)


def naive_overlap(box, others):
    total = 0.0
    for other in others:
        width = min(box[2], other[2]) - max(box[0], other[0])
        height = min(box[3], other[3]) - max(box[1], other[1])
        if width > 0 and height > 0:
            total += width * height
    return total


@given(spots=spots, centred=st.booleans(), upward=st.booleans())
def test_labels_keep_apart_and_inside(spots, centred, upward):
    taken: list = []
    for spot in spots:
        box = settle((60.0, 14.0), spot, FRAME, taken, centred=centred, upward=upward)
        if box is None:
            continue
        assert naive_overlap(box, taken) == overlap_px2(box, taken) == 0.0
        assert (box[:2] >= FRAME[:2]).all() and (box[2:] <= FRAME[2:]).all()
        if upward:
            assert box[3] >= spot[1]
        taken.append(box)
    assert taken or len(spots) == 1 or upward


def test_a_lone_label_sits_on_the_middle_of_its_area_or_right_above_its_spot():
    assert settle((60.0, 14.0), (400.0, 300.0), FRAME, [], centred=True).tolist() == [369.0, 292.0, 431.0, 308.0]
    box = settle((60.0, 14.0), (400.0, 300.0), FRAME, [])
    assert box[0] + box[2] == 800.0 and 300.0 <= box[1] <= 306.0


def test_no_room_is_said_and_not_squeezed():
    assert settle((60.0, 14.0), (400.0, 300.0), FRAME, [FRAME]) is None


def test_headlines_shrink_and_then_are_cut():
    figure = new_figure(5.0, 1.0)
    fits = headline(figure, (0.02, 0.5), "a room", size=11)
    longer = headline(
        figure, (0.02, 0.5), "a room with a rather long name that says what is in it, whose it is and why", size=11
    )
    far_too_long = headline(figure, (0.02, 0.5), "a long name " * 40, size=11)
    assert fits.get_fontsize() == 11.0 and fits.get_text() == "a room"
    assert longer.get_fontsize() < 11.0 and longer.get_text().endswith("why")
    assert far_too_long.get_text().endswith("…")
    for text in (fits, longer, far_too_long):
        assert text_size(figure, text.get_text(), fontsize=text.get_fontsize())[0] <= 0.965 * figure.bbox.width
