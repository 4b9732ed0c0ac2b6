from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.studies.sheets.labels import text_width_mm
from sim.studies.sheets.layout import drawings_of, sheets_of, table_sheets
from sim.studies.sheets.page_layout import ENDS_MM, FRAME_MM, HEADING_MM, PAPERS_MM, SCALES, area_mm
from sim.studies.sheets.records import Drawing, Outline, Table
from tests.studies.sheets.treated_rooms import lopsided, sloping


def room_of(width: float, height: float) -> Drawing:
    ring = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    return Drawing("Wall elevation: test", "Seen from inside.", np.zeros(2), ring[2], (Outline(ring, "WALLS"),))


@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
@pytest.mark.parametrize("results", [lopsided, sloping])
def test_everything_stays_inside_the_frame(paper: str, results: object) -> None:
    left, low, right, high = area_mm(paper)
    for sheet in sheets_of(drawings_of(results()), paper):  # type: ignore[operator]
        for placed in sheet.drawings:
            assert placed.scale in SCALES
            corners = placed.on_paper(np.stack([placed.drawing.low, placed.drawing.high]))
            rows = [placed.drawing.rows(side) for side in ("left", "below", "right", "above")]  # type: ignore[arg-type]
            assert corners[0, 0] - 6.0 * rows[0] >= left and corners[0, 1] - 6.0 * rows[1] >= low
            assert corners[1, 0] + 6.0 * rows[2] <= right and corners[1, 1] + 6.0 * rows[3] <= high
        for words in sheet.words:
            assert words.x_mm >= left - 1e-6 and words.y_mm >= low - 1.0
            assert words.x_mm + text_width_mm(words.text, words.size_pt, bold=words.bold) <= right + 2.0, words.text


@given(st.floats(1.0, 30.0), st.floats(1.0, 12.0))
def test_the_largest_scale_that_fits_is_taken(width: float, height: float) -> None:
    (sheet,) = sheets_of([room_of(width, height)], "a4")
    left, low, right, high = area_mm("a4")
    (placed,) = sheet.drawings
    larger = [scale for scale in SCALES if scale < placed.scale]
    if larger:  # at the next larger scale not even the bare outline fits with its heading and the names of its ends
        size = 1000.0 * np.array([width, height]) / larger[-1]
        assert size[0] + 4.0 > right - left or size[1] + 4.0 + HEADING_MM + ENDS_MM > high - low


def test_every_drawing_is_on_one_sheet() -> None:
    drawings = drawings_of(lopsided())
    placed = [one.drawing for sheet in sheets_of(drawings, "a4") for one in sheet.drawings]
    assert [one.title for one in placed] == [one.title for one in drawings]


def test_drawings_of_different_kinds_do_not_share_a_sheet() -> None:
    for sheet in sheets_of(drawings_of(lopsided()), "a3"):
        assert len({placed.drawing.title.partition(":")[0] for placed in sheet.drawings}) == 1


def test_long_tables_are_continued() -> None:
    table = Table("Many", ("No", "Name"), tuple((str(n), f"panel {n}") for n in range(150)))
    sheets = table_sheets("Many", (table,), "a4")
    assert len(sheets) > 2
    printed = [words.text for sheet in sheets for words in sheet.words]
    assert all(f"panel {n}" in printed for n in range(150))
    _, low, _, _ = area_mm("a4")
    assert min(words.y_mm for sheet in sheets for words in sheet.words) >= low - 1.0


def test_papers_lie_and_have_a_margin() -> None:
    assert PAPERS_MM["a4"] == (297.0, 210.0)
    assert PAPERS_MM["letter"] == pytest.approx((11.0 * 25.4, 8.5 * 25.4))
    assert FRAME_MM >= 5.0
