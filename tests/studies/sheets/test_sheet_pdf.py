"""The sheets are read by an independent reader: words, page sizes, and lengths of the lines themselves."""

from __future__ import annotations

import datetime
import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from pypdf import PdfReader
from pypdf.generic import ContentStream

from sim import __version__
from sim.errors import OutputError
from sim.studies.sheets.layout import book_of
from sim.studies.sheets.page_layout import FRAME_MM, PAPERS_MM, paper_mm
from sim.studies.sheets.pdf_frame_picture import fitted
from sim.studies.sheets.pdf_picture import draw_sheets, sheet_figure
from sim.studies.sheets.records import Remarks
from tests.studies.sheets.treated_rooms import lopsided, sloping

DATE = datetime.date(2025, 3, 1)
REMARKS = Remarks(("Walls are flat.",), ("Bass.",), ("Mind your head.", "Local codes win."))
POINT_MM = 25.4 / 72.0


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return draw_sheets(lopsided(), tmp_path_factory.mktemp("pdf") / "drawings.pdf", "a4", DATE, REMARKS)


def polygons_mm(page: Any, reader: PdfReader) -> list[np.ndarray]:
    """Closed shapes (n, 2) of a page's own drawing commands, in millimetres."""
    shapes, points = [], []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        if operator == b"m":
            points = [[float(value) for value in operands]]
        elif operator == b"l":
            points.append([float(value) for value in operands])
        elif operator == b"h" and len(points) >= 3:
            shapes.append(np.array(points) * POINT_MM)
    return shapes


def rectangles_mm(page: Any, reader: PdfReader) -> list[np.ndarray]:
    """Low and high corners (2, 2) of all closed shapes with four corners or more."""
    return [np.stack([shape.min(axis=0), shape.max(axis=0)]) for shape in polygons_mm(page, reader)]


def page_with(reader: PdfReader, words: str) -> Any:
    return next(page for page in reader.pages[1:] if words in page.extract_text())


@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
def test_pages_have_the_size_of_the_paper(paper: str, tmp_path: Path) -> None:
    reader = PdfReader(draw_sheets(sloping(), tmp_path / "drawings.pdf", paper, DATE, REMARKS))
    for page in reader.pages:
        size = (float(page.mediabox.width) * POINT_MM, float(page.mediabox.height) * POINT_MM)
        assert sorted(size, reverse=True) == pytest.approx(PAPERS_MM[paper], abs=0.01)


def test_every_sheet_says_what_it_is(file: Path) -> None:
    reader = PdfReader(file)
    for number, page in enumerate(reader.pages, 1):
        text = " ".join(page.extract_text().split())
        assert "Lopsided demo room, 10 $ a day" in text
        assert "Date 2025-03-01" in text
        assert f"Scene {lopsided().scene.digest}" in text
        assert f"bounceplan {__version__}" in text
        assert f"Sheet {number} of {len(reader.pages)}" in text
        assert f"Not judged: anything below {lopsided().responses.transition_hz:.0f} Hz." in text
        assert "Local codes and licensed trades win." in text
        assert "no spot here is claimed to be free" in text
        assert "second tether" in text and "EN 13501-1" in text and "asbestos" in text
        assert "Demo data: invented." in text
        assert "Lengths in millimetres" in text
        assert re.search(r"Scale 1:(10|20|25|50|100|200) on A4|No scale, A4", text)


def test_all_views_are_there_and_the_first_sheet_lists_them(file: Path) -> None:
    reader = PdfReader(file)
    whole = "\n".join(page.extract_text() for page in reader.pages)
    for title in (
        "Plan",
        "Section through desk and ears",
        "Reflected ceiling plan",
        "Wall elevation: left wall",
        "Wall elevation: right wall",
        "Wall elevation: front wall",
        "Wall elevation: rear wall",
        "Setting-out: P1",
        "Parts list",
        "Read this first",
        "Mind your head.",
        "Walls are flat.",
    ):
        assert title in whole, title
    assert "Reflected ceiling plan" in reader.pages[0].extract_text()


def test_a_panel_has_its_true_size_and_place_on_paper(file: Path) -> None:
    """The left panel is 600 x 1200, its edge 700 from the front corner: at the right end of the left wall."""
    reader = PdfReader(file)
    page = page_with(reader, "Wall elevation: left wall")
    scale = float(re.search(r"Scale 1:(\d+)", page.extract_text()).group(1))  # type: ignore[union-attr]
    found = rectangles_mm(page, reader)
    panel = [box for box in found if box[1] - box[0] == pytest.approx([600.0 / scale, 1200.0 / scale], abs=0.01)]
    wall = [box for box in found if box[1] - box[0] == pytest.approx([5200.0 / scale, 2500.0 / scale], abs=0.01)]
    assert panel and wall
    assert (wall[0][1, 0] - panel[0][1, 0]) * scale == pytest.approx(700.0, abs=0.5)
    assert (panel[0][0, 1] - wall[0][0, 1]) * scale == pytest.approx(610.0, abs=0.5)


def test_the_ceiling_is_not_mirrored(file: Path) -> None:
    """The cloud is 500 from the left wall, and the front is at the top of the sheet."""
    reader = PdfReader(file)
    page = page_with(reader, "Reflected ceiling plan")
    scale = float(re.search(r"Scale 1:(\d+)", page.extract_text()).group(1))  # type: ignore[union-attr]
    found = rectangles_mm(page, reader)
    cloud = next(box for box in found if box[1] - box[0] == pytest.approx([600.0 / scale, 1200.0 / scale], abs=0.01))
    room = next(box for box in found if box[1] - box[0] == pytest.approx([4000.0 / scale, 5200.0 / scale], abs=0.01))
    assert (cloud[0, 0] - room[0, 0]) * scale == pytest.approx(500.0, abs=0.5)
    assert (room[1, 1] - cloud[1, 1]) * scale == pytest.approx(900.0, abs=0.5)


def test_the_scale_bar_is_true(file: Path) -> None:
    reader = PdfReader(file)
    page = page_with(reader, "Wall elevation: left wall")
    text = page.extract_text()
    scale = float(re.search(r"Scale 1:(\d+)", text).group(1))  # type: ignore[union-attr]
    length = float(re.search(r"([\d.]+) m\b", text[text.index("Scale 1:") :]).group(1))  # type: ignore[union-attr]
    quarter = 1000.0 * length / scale / 4.0
    parts = [box for box in rectangles_mm(page, reader) if box[1] - box[0] == pytest.approx([quarter, 1.6], abs=0.02)]
    assert len(parts) == 4


def test_words_can_be_copied_and_numbers_stand_in_tables(file: Path) -> None:
    text = page_with(PdfReader(file), "Wall elevation: left wall").extract_text()
    for words in (
        "700 to 1300",
        "610 to 1810",
        "1342 / 1342",
        "from the front wall",
        "front left corner",
        "P1",
        "L left",
    ):
        assert words in text, words


def test_a_scene_in_feet_is_drawn_in_feet(tmp_path: Path) -> None:
    reader = PdfReader(draw_sheets(sloping(), tmp_path / "drawings.pdf", "letter", DATE, REMARKS))
    text = page_with(reader, "Unrolled slope: left slope").extract_text()
    assert "feet and inches, to 1/16" in text
    # the inches for a foot and the ratio say the same
    inches, ratio = re.search(r"Scale ([\d/]+)\" = 1'-0\"", text), re.search(r"1:(\d+);", text)  # as printed
    assert inches and ratio and 12.0 / float(Fraction(inches[1])) == float(ratio[1])
    assert "2'-9 7/16\" to 6'-5 15/16\"" in text
    assert re.search(r"\d ft\b", text)


def test_the_same_day_gives_the_same_bytes(file: Path, tmp_path: Path) -> None:
    again = draw_sheets(lopsided(), tmp_path / "again.pdf", "a4", DATE, REMARKS)
    assert again.read_bytes() == file.read_bytes()
    facts = PdfReader(again).metadata
    assert facts is not None and facts.creation_date is not None
    assert facts.creation_date.date() == DATE
    assert facts.title == "Lopsided demo room, 10 $ a day: drawings for the builder"
    assert lopsided().scene.digest in str(facts.subject)


def test_nothing_is_drawn_as_pixels_and_letters_are_outlines(file: Path) -> None:
    reader = PdfReader(file)
    for page in reader.pages:
        assert len(page.images) == 0
        fonts = page["/Resources"]["/Font"]  # type: ignore[index]
        for font in fonts.values():
            assert font.get_object()["/Subtype"] in ("/Type0", "/TrueType")


@pytest.mark.parametrize("results_of", [lopsided, sloping])
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_words_leave_the_frame_or_hide_each_other(results_of: Any, paper: str) -> None:
    """Measured as drawn, not as estimated."""
    block, sheets = book_of(results_of(), paper, DATE, REMARKS)
    for number, sheet in enumerate(sheets, 1):
        width, height = paper_mm(paper, upright=sheet.upright)
        figure = sheet_figure(sheet, block, paper, number, len(sheets))
        renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
        boxes = []
        for text in figure.axes[0].texts:
            if text.get_text():
                box = text.get_window_extent(renderer)
                edges = np.array([box.x0, box.y0, box.x1, box.y1]) * POINT_MM
                assert edges[:2].min() >= FRAME_MM - 0.2, text.get_text()
                assert edges[2] <= width - FRAME_MM + 0.2 and edges[3] <= height - FRAME_MM + 0.2, text.get_text()
                boxes.append((text.get_text(), edges))
        for n, (words, one) in enumerate(boxes):
            for other_words, other in boxes[n + 1 :]:
                shared = np.minimum(one[2:], other[2:]) - np.maximum(one[:2], other[:2])
                deep = float(max(shared[0], 0.0) * max(shared[1], 0.0))
                smaller = min(float(np.prod(box[2:] - box[:2])) for box in (one, other))
                assert deep <= 0.25 * smaller, (sheet.name, words, other_words)


def test_long_words_are_cut_to_their_room() -> None:
    words, size = fitted("a very long name of a sheet that fits nowhere " * 3, 8.0, 40.0)
    assert words.endswith("...") and size == 6.0
    assert fitted("short", 8.0, 40.0) == ("short", 8.0)


def test_a_file_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"the sheets cannot be written"):
        draw_sheets(sloping(), tmp_path / "nowhere" / "drawings.pdf", "a4", DATE, REMARKS)
    assert list(tmp_path.iterdir()) == []
