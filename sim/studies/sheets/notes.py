"""What every sheet says, and the first sheets: what was assumed, what is not judged, what to mind, what is where."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from sim import __version__
from sim.responses.records import Results
from sim.showing.lengths import unit_words
from sim.studies.sheets.labels import line_height_mm, wrapped
from sim.studies.sheets.page_layout import GAP_MM, HEADING_MM, Block, Sheet, Words, area_mm
from sim.studies.sheets.records import Remarks

SHORT_CAUTIONS = (
    "Check every length on site before you cut. Overhead: joists or rated anchors and a second tether, never "
    "suspended grids or plain plasterboard. Drilling: use a detector, mind cables, water, gas and asbestos in old "
    "coatings; no spot here is claimed to be free. Keep ways out, openings, alarms, lamps and heaters clear. Fire "
    "class of the whole panel: EN 13501-1 or ASTM E84. Lift and hang with two people. Local codes and licensed trades "
    "win."
)
SIZE_PT, HEAD_PT = 7.0, 8.5
HOW_TO_READ = (
    "Left and right are those of the seat, facing the front wall. Walls and slopes are seen from inside the room.",
    "Hatched rectangles are panels; their numbers are those of the parts list and of panels.csv.",
    "A letter in a circle, square or triangle marks the reflection point of that loudspeaker.",
    "Dotted outlines: keep clear. Dashed outlines on a surface: things that stand close before it.",
    "Edges are measured to the panel's outline on the surface, along the surface.",
    "Print at 100 % and check the scale bar with a rule. Written lengths win over measured ones.",
)


@dataclass(frozen=True, slots=True)
class TitleBlock:
    """Words of the title block, the same on every sheet but for its own name."""

    title: str
    date: str
    version: str
    digest: str
    units: str
    not_judged: str
    demo: str


def title_block(results: Results, date: datetime.date) -> TitleBlock:
    """Fill the title block of a scene."""
    demo = [note for note in results.scene.blueprint.notes if "demo" in note.lower()]
    return TitleBlock(
        title=results.scene.blueprint.title,
        date=date.isoformat(),
        version=f"bounceplan {__version__}",
        digest=results.scene.digest,
        units=unit_words(results.scene.blueprint.units),
        not_judged=f"Not judged: anything below {results.responses.transition_hz:.0f} Hz.",
        demo=" ".join(demo),
    )


def first_sheets(block: TitleBlock, remarks: Remarks, names: Sequence[str], paper: str) -> tuple[Sheet, ...]:
    """Sheets of words that come before the drawings; names are those of all other sheets, in order."""
    count = 1
    while True:  # how many there are decides the numbers in the list of sheets
        contents = [f"{number + count}  {name}" for number, name in enumerate(names, 1)]
        sections = (
            ("Sheets", tuple(contents)),
            ("How to read them", HOW_TO_READ),
            ("Before you lift, drill or hang anything", remarks.cautions),
            ("Assumptions", remarks.assumptions),
            ("Not judged", (block.not_judged, *remarks.not_judged)),
        )
        sheets = _flowed(block.title, sections, paper)
        if len(sheets) == count:
            return sheets
        count = len(sheets)


def _flowed(title: str, sections: Sequence[tuple[str, Sequence[str]]], paper: str) -> tuple[Sheet, ...]:
    left, low, right, high = area_mm(paper)
    room = 0.5 * (right - left - GAP_MM)
    tall = high - low - HEADING_MM
    columns: list[Block] = [Block()]
    for heading, sentences in sections:
        for number, sentence in enumerate(sentences):
            lines = wrapped(sentence, SIZE_PT, room - 4.0)
            need = len(lines) * line_height_mm(SIZE_PT) + (line_height_mm(HEAD_PT) + 3.5 if number == 0 else 0.0)
            if columns[-1].height_mm + need > tall:
                columns.append(Block())
            column = columns[-1]
            if number == 0:
                column.space(2.5 if column.height_mm else 0.0)
                column.line(heading, HEAD_PT, bold=True)
                column.space(0.8)
            for line in lines:
                column.line(line, SIZE_PT, indent_mm=2.0 if line is lines[0] else 4.0)
            column.space(0.5)
    sheets = []
    for pair in range(0, len(columns), 2):
        words = [Words(f"Read this first: {title}", left, high - 5.0, 10.5, bold=True)]
        for number, column in enumerate(columns[pair : pair + 2]):
            words += column.at(left + number * (room + GAP_MM), high - HEADING_MM)[0]
        sheets.append(Sheet("Read this first", (), tuple(words)))
    return tuple(sheets)
