"""The frame of every sheet and how wide its letters are; words as they were written, never as formulas."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cache
from typing import Any

from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from sim.showing.style import INK, PAPER, SOFT_INK
from sim.studies.sheets.labels import line_height_mm, text_width_mm, wrapped
from sim.studies.sheets.page_layout import (
    CAUTION_MM,
    FRAME_MM,
    SHORT_CAUTIONS,
    TITLE_BLOCK_MM,
    Sheet,
    TitleBlock,
    Words,
    paper_mm,
    scale_words,
)

FAMILY = "DejaVu Sans"
"""Comes with the drawing library, so that words are as wide everywhere."""
SIZE_PT = 100.0


@cache
def advance(letter: str, bold: bool) -> float:
    """Width of a letter with the gap behind it, in sizes of the letters, rounded up to a hundredth."""
    fixed_point: int = _font(bold).load_char(ord(letter)).linearHoriAdvance
    return math.ceil(fixed_point / 65536.0 / SIZE_PT * 100.0 - 1e-9) / 100.0


@cache
def _font(bold: bool) -> FT2Font:
    font = FT2Font(findfont(FontProperties(family=FAMILY, weight="bold" if bold else "normal")))
    font.set_size(SIZE_PT, 72)
    return font


# The frame of every sheet: title block, scale bar, cautions; words as they were written, never as formulas.


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


# The frame of every sheet: title block, scale bar, cautions, and the arrow to the front of the room.

FOOT_M = 0.3048
BAR_M = {10: 0.5, 20: 1.0, 25: 1.0, 50: 2.0, 100: 5.0, 200: 10.0}
BAR_FT = {12: 2.0, 16: 3.0, 24: 4.0, 32: 6.0, 48: 8.0, 64: 10.0, 96: 16.0, 192: 30.0}
PARTS = (0.30, 0.27, 0.23, 0.20)
"""Shares of the title block: scene, sheet, scale, origin."""


def draw_frame(place: Axes, sheet: Sheet, block: TitleBlock, paper: str, number: str) -> None:
    """Draw frame, cautions and title block."""
    width, height = paper_mm(paper, upright=sheet.upright)
    inner = width - 2.0 * FRAME_MM
    place.add_patch(
        Rectangle((FRAME_MM, FRAME_MM), inner, height - 2.0 * FRAME_MM, fill=False, edgecolor=INK, linewidth=1.2)
    )
    top = FRAME_MM + TITLE_BLOCK_MM
    place.plot([FRAME_MM, width - FRAME_MM], [top, top], color=INK, linewidth=1.2)
    place.plot([FRAME_MM, width - FRAME_MM], [top + CAUTION_MM] * 2, color=SOFT_INK, linewidth=0.5)
    _cautions(place, block, FRAME_MM + 2.0, top + CAUTION_MM - 0.6, inner - 4.0)
    edges = [FRAME_MM]
    for fraction in PARTS:
        edges.append(edges[-1] + fraction * inner)
    for edge in edges[1:-1]:
        place.plot([edge, edge], [FRAME_MM, top], color=SOFT_INK, linewidth=0.5)
    cells = [(edges[n] + 2.0, edges[n + 1] - edges[n] - 4.0) for n in range(len(PARTS))]
    _scene(place, block, *cells[0], top)
    _sheet_name(place, sheet, number, *cells[1], top)
    _scale(place, sheet, block, paper, *cells[2], top)
    _origin(place, block, *cells[3], top)


def _cautions(place: Axes, block: TitleBlock, x: float, top: float, room: float) -> None:
    words = f"{block.not_judged} {SHORT_CAUTIONS}"
    size = 6.8
    lines = wrapped(words, size, room)
    while len(lines) * line_height_mm(size) > CAUTION_MM - 1.0 and size > 4.5:
        size -= 0.1
        lines = wrapped(words, size, room)
    for number, line in enumerate(lines, 1):
        write(place, x, top - number * line_height_mm(size) + 0.5, line, size)


def _scene(place: Axes, block: TitleBlock, x: float, room: float, top: float) -> None:
    lines = wrapped(block.title, 9.0, 0.9 * room)[:2]
    for number, line in enumerate(lines):
        words, size = fitted(line, 9.0, room, bold=True)
        write(place, x, top - 4.8 - 4.0 * number, words, size, bold=True)
    for number, line in enumerate(wrapped(block.demo, 6.2, room)[:2] if block.demo else []):
        write(place, x, top - 13.2 - 2.7 * number, line, 6.2)


def _sheet_name(place: Axes, sheet: Sheet, number: str, x: float, room: float, top: float) -> None:
    for row, line in enumerate(wrapped(sheet.name, 8.0, 0.9 * room)[:3]):
        words, size = fitted(line, 8.0, room, bold=True)
        write(place, x, top - 4.6 - 3.6 * row, words, size, bold=True)
    write(place, x, top - 16.2, f"Sheet {number}", 7.5)


def _scale(place: Axes, sheet: Sheet, block: TitleBlock, paper: str, x: float, room: float, top: float) -> None:
    name = paper.upper() if paper != "letter" else "Letter"
    scale = sheet.scale
    words = f"Scale {scale_words(scale)} on {name}" if scale is not None else f"No scale, {name}"
    head, size = fitted(words, 9.0, room, bold=True)
    write(place, x, top - 4.6, head, size, bold=True)
    feet = "inch" in block.units
    text, size = fitted(
        f"1:{scale:g}; {block.units.removeprefix('Lengths in ')}" if feet and scale is not None else block.units,
        6.2,
        room,
    )
    write(place, x, top - 7.8, text, size)
    if scale is None:
        return
    length = BAR_FT[int(scale)] if feet else BAR_M[int(scale)]
    long_mm = 1000.0 * length * (FOOT_M if feet else 1.0) / scale
    fit = min(1.0, 0.5 if long_mm > room else 1.0)
    long_mm, length = fit * long_mm, fit * length
    for part in range(4):
        place.add_patch(
            Rectangle(
                (x + 0.25 * part * long_mm, top - 13.2),
                0.25 * long_mm,
                1.6,
                edgecolor=INK,
                linewidth=0.6,
                facecolor=INK if part % 2 == 0 else PAPER,
                gid="scale bar",
            )
        )
    write(place, x, top - 16.4, "0", 6.2, ha="center")
    write(place, x + long_mm, top - 16.4, f"{length:g} {'ft' if feet else 'm'}", 6.2, ha="center")


def _origin(place: Axes, block: TitleBlock, x: float, room: float, top: float) -> None:
    for row, line in enumerate((f"Date {block.date}", f"Scene {block.digest}", block.version)):
        words, size = fitted(line, 7.5, room)
        write(place, x, top - 4.6 - 4.2 * row, words, size)


def draw_front_arrow(place: Axes, x_mm: float, y_mm: float, way: str) -> None:
    """Draw an arrow that points to the front wall, with the word; the lower left corner of both is given."""
    if way == "up":
        start, end, words = (x_mm + 1.5, y_mm - 1.0), (x_mm + 1.5, y_mm + 4.0), x_mm + 4.0
    else:
        ends = ((x_mm, y_mm + 1.2), (x_mm + 6.0, y_mm + 1.2))
        start, end = ends if way == "right" else ends[::-1]
        words = x_mm + 7.5
    place.annotate(
        "",
        xy=end,
        xytext=start,
        zorder=8,
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.2, "shrinkA": 0.0, "shrinkB": 0.0},
    )
    write(place, words, y_mm, "front", 8.0, bold=True)
