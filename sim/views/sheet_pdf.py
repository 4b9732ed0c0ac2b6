"""Sheets for the builder as a vector PDF, true to scale, with words that can be searched and copied.

One axes covers each page and counts in millimetres, so that a length on paper is its length in the room divided by the
scale.  Nothing is drawn as pixels.  The same results, paper and date give the same bytes.
"""

from __future__ import annotations

import datetime
import io
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from .. import __version__
from ..drawings.book import book_of
from ..drawings.notes import TitleBlock
from ..drawings.papers import PAPERS_MM, Sheet
from ..drawings.records import Remarks
from ..responses.results import Results
from ..treatment.records import Plan
from ..whole_files import write_whole
from .sheet_pdf_drawing import draw_placed
from .sheet_pdf_frame import draw_frame, draw_front_arrow
from .sheet_pdf_words import write_words
from .style import HAIRLINE, PAPER, house_style

MM_PER_INCH = 25.4
FONTS: Any = {"pdf.fonttype": 42, "pdf.compression": 6, "hatch.linewidth": 0.35, "pdf.use14corefonts": False}
"""Outline fonts, so that words stay words."""


def draw_sheets(
    results: Results, path: Path, paper: str, date: datetime.date, remarks: Remarks, plan: Plan | None = None
) -> Path:
    """Write all sheets of a scene as one PDF.

    Parameters
    ----------
    paper
        "a4", "a3" or "letter"; sheets lie.
    date
        Printed on every sheet, and the file's date of creation.
    remarks
        Assumptions, cautions and what is not judged, for the first sheet.
    plan
        Adds what each step of a treatment plan gains to the parts list.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    block, sheets = book_of(results, paper, date, remarks, plan)
    made = datetime.datetime(date.year, date.month, date.day, tzinfo=datetime.UTC)
    facts = {
        "Title": f"{block.title}: sheets for the builder",
        "Subject": f"scene {block.digest}",
        "Creator": f"bounceplan {__version__}",
        "Producer": f"bounceplan {__version__}",
        "CreationDate": made,
        "ModDate": made,
    }
    whole = io.BytesIO()
    with house_style(), matplotlib.rc_context(FONTS), PdfPages(whole, metadata=facts) as pages:
        for number, sheet in enumerate(sheets, 1):
            pages.savefig(sheet_figure(sheet, block, paper, number, len(sheets)))
    return write_whole(path, whole.getvalue(), "the sheets")


def sheet_figure(sheet: Sheet, block: TitleBlock, paper: str, number: int, count: int) -> Figure:
    """One sheet as a figure as large as its paper; its only axes counts in millimetres from the lower left corner."""
    width, height = PAPERS_MM[paper]
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), dpi=72, facecolor=PAPER)
    place = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    place.set_xlim(0.0, width)
    place.set_ylim(0.0, height)
    place.set_axis_off()
    for placed in sheet.drawings:
        draw_placed(place, placed)
    for x0, y0, x1, y1 in sheet.rules:
        place.plot([x0, x1], [y0, y1], color=HAIRLINE, linewidth=0.6)
    write_words(place, sheet.words)
    for x, y, way in sheet.arrows:
        draw_front_arrow(place, x, y, way)
    draw_frame(place, sheet, block, paper, f"{number} of {count}")
    return figure
