from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.studies.sheets.labels import ends_stacked, text_width_mm
from sim.studies.sheets.layout import drawings_of, sheets_of, table_sheets, with_table
from sim.studies.sheets.page_layout import (
    ENDS_MM,
    FRAME_MM,
    HEADING_MM,
    INCH_SCALES,
    PAPERS_MM,
    SCALES,
    TitleBlock,
    area_mm,
    first_sheets,
    scale_words,
    scales_for,
)
from sim.studies.sheets.records import Drawing, Outline, Remarks, Table
from tests.studies.sheets.treated_rooms import lopsided, sloping


def room_of(width: float, height: float) -> Drawing:
    ring = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    return Drawing("Wall elevation: test", "Seen from inside.", np.zeros(2), ring[2], (Outline(ring, "WALLS"),))


@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
@pytest.mark.parametrize("results", [lopsided, sloping])
def test_everything_stays_inside_the_frame(paper: str, results: object) -> None:
    for sheet in sheets_of(drawings_of(results()), paper):  # type: ignore[operator]
        left, low, right, high = area_mm(paper, upright=sheet.upright)
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


def test_paper_stands_where_that_makes_a_drawing_larger() -> None:
    (deep,), (wide,) = (sheets_of([room_of(*size)], "a4") for size in ((3.8, 4.6), (4.6, 2.5)))
    assert (deep.upright, deep.scale) == (True, 20) and not wide.upright
    left, _, right, high = area_mm("a4", upright=True)
    assert right < high and left > FRAME_MM


def test_walls_share_a_sheet_where_none_gets_smaller_by_it() -> None:
    tall = replace(room_of(6.4, 6.0), minor=True)
    (together,) = sheets_of([tall, tall], "a4")
    assert (len(together.drawings), together.scale) == (2, sheets_of([tall], "a4")[0].scale) == (2, 50)
    long, short = (replace(room_of(width, 2.9), minor=True) for width in (7.5, 4.0))
    assert [sheet.scale for sheet in sheets_of([long, short], "a4")] == [50, 20]


def test_inch_scenes_have_the_scales_of_an_inch_rule() -> None:
    (sheet,) = sheets_of([room_of(4.3, 3.3)], "letter", scales_for("in"))
    assert sheet.scale in INCH_SCALES and scales_for("ft") == scales_for("in") and scales_for("cm") == SCALES
    # a quarter of an inch for a foot is 1:48, one inch for a foot 1:12
    assert scale_words(48) == '1/4" = 1\'-0"' and scale_words(12) == '1" = 1\'-0"' and scale_words(50) == "1:50"
    for scale, inches in INCH_SCALES.items():
        assert 12.0 / float(Fraction(inches)) == scale


def test_a_bare_wall_gets_no_sheet_and_is_named_instead() -> None:
    bare = room_of(2.0, 2.5)
    assert not bare.has_something
    for layer, worth in (("FURNITURE", False), ("OPENINGS", True), ("KEEP-CLEAR", True), ("PANELS", True)):
        more = Outline(bare.high * 0.5 + np.zeros((2, 2)), layer)  # type: ignore[arg-type]
        assert replace(bare, outlines=(*bare.outlines, more)).has_something == worth
    block = TitleBlock("Den", "2026-01-01", "0", "abc", "Lengths in millimetres", "", "")
    first = first_sheets(block, Remarks((), (), ()), ["Plan"], "a4", ["corner end wall"])
    assert any("nothing is marked on it: corner end wall" in words.text for words in first[0].words)


def test_names_of_both_ends_of_a_narrow_wall_stand_above_each_other() -> None:
    names = ("corner with right wall", "corner with corner side wall")
    narrow, wide = (replace(room_of(width, 2.5), ends=names) for width in (1.3, 5.0))
    assert ends_stacked(narrow, 25) and not ends_stacked(wide, 25)


def test_the_parts_list_shares_the_last_sheet_where_it_fits() -> None:
    table = Table("Parts list", ("Count", "Part"), (("2", "panel"),))
    (sheet,) = sheets_of([room_of(2.0, 1.0)], "a4")
    both = with_table(sheet, "parts list", table, "a4")
    assert both is not None and both.name.endswith("parts list")
    lowest = float(both.drawings[0].corner_mm[1])
    assert all(words.y_mm < lowest for words in both.words if words.text in ("Parts list", "panel"))
    long = Table("Parts list", ("Count", "Part"), (("2", "panel"),) * 60)
    assert with_table(sheet, "parts list", long, "a4") is None


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
