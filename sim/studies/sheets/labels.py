"""Words that keep out of each other's way on paper, and how much room they take."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.studies.sheets.records import Drawing, Label, Mark

MM_PER_POINT: Final = 25.4 / 72.0
LINE_HEIGHT: Final = 1.28
"""From line to line, in sizes of the letters."""


def text_width_mm(words: str, size_pt: float, *, bold: bool = False) -> float:
    """Width of one line of words in millimetres, rather too wide than too narrow."""
    from sim.studies.sheets.pdf_frame_picture import advance  # only where words are measured is the font opened

    return sum(advance(letter, bold) for letter in words) * size_pt * MM_PER_POINT


def line_height_mm(size_pt: float) -> float:
    """From one line of words to the next, in millimetres."""
    return size_pt * MM_PER_POINT * LINE_HEIGHT


def wrapped(words: str, size_pt: float, width_mm: float, *, hanging: str = "") -> list[str]:
    """Break words into lines no wider than width_mm; hanging indents all lines but the first.

    A word that is too long for a line is cut.
    """
    letters = max(8, int(width_mm / (0.5 * size_pt * MM_PER_POINT)))
    while letters > 8:
        lines = textwrap.wrap(words, letters, subsequent_indent=hanging) or [""]
        if max(text_width_mm(line, size_pt) for line in lines) <= width_mm:
            return lines
        letters = int(0.97 * letters)
    return textwrap.wrap(words, 8, subsequent_indent=hanging) or [""]


def widest_mm(lines: Sequence[str], size_pt: float, *, bold: bool = False) -> float:
    """Width of the widest of some lines."""
    return max((text_width_mm(line, size_pt, bold=bold) for line in lines), default=0.0)


# Words that keep out of each other's way on paper: each goes to the nearest free place around what it names.

SIZE_PT, BOLD_PT = 6.5, 8.0
MARK_MM = 3.4
"""Side of a lettered mark on paper."""
RINGS_MM = (0.0, 2.0, 4.0, 6.5, 9.0, 12.0, 16.0, 21.0, 27.0)
NEAR_MM = 1.5
EDGE_MM = 1.0
RING_COST = 1.0
LINE_COST = {"fine": 0.35, "medium": 1.0, "heavy": 3.0}
"""Hiding a millimetre of line is as bad as standing this many millimetres farther away."""


END_LINE_MM = 3.0
"""From the name of one end of a drawing to that of the other, where both do not fit on one line."""


def ends_stacked(drawing: Drawing, scale: float) -> bool:
    """Whether the names of both ends of a drawing at 1 to `scale` would meet on one line above it."""
    room = float(drawing.high[0] - drawing.low[0]) * 1000.0 / scale
    return all(drawing.ends) and sum(text_width_mm(words, SIZE_PT) for words in drawing.ends) + 5.0 > room


@dataclass(frozen=True, slots=True)
class PlacedLabel:
    """Words with their middle (2,) in metres on the drawing; hairline says that it does not stand on its spot."""

    label: Label
    middle: FloatArray
    size_pt: float
    hairline: bool


def placed_labels(drawing: Drawing, scale: float) -> tuple[PlacedLabel, ...]:
    """Place all labels of a drawing that is printed at 1 to `scale`, in the order in which they are listed.

    Words stay inside the rectangle that dimensions keep outside of, off marks and each other, and where they hide as
    little of the lines as can be.
    """
    metre = 1000.0 / scale
    frame = np.concatenate([drawing.low * metre + EDGE_MM, drawing.high * metre - EDGE_MM])
    taken = [_mark_box(mark, mark.place * metre) for mark in drawing.marks]
    badges = mark_badges(drawing.marks, scale)
    taken += [_mark_box(mark, badge * metre) for mark, badge in zip(drawing.marks, badges, strict=True) if mark.letter]
    lines, weights = _segments(drawing, metre)
    made = []
    for label in drawing.labels:
        size = BOLD_PT if label.bold else SIZE_PT
        width, height = text_width_mm(label.words, size, bold=label.bold) + 0.8, line_height_mm(size)
        box = _settled(np.array([width, height]), label.spot * metre, frame, taken, lines, weights)
        taken.append(box)
        middle = 0.5 * (box[:2] + box[2:])
        gap = np.maximum(np.abs(middle - label.spot * metre) - 0.5 * np.array([width, height]), 0.0)
        made.append(PlacedLabel(label, middle / metre, size, bool(np.hypot(*gap) > NEAR_MM)))
    return tuple(made)


def mark_badges(marks: Sequence[Mark], scale: float) -> list[FloatArray]:
    """Where the letter of each mark stands (2,), in metres on the drawing at 1 to `scale`: on the spot, or moved aside.

    Letters that would hide an earlier one move away from it until both can be read.
    """
    metre = 1000.0 / scale
    placed: list[tuple[Mark, FloatArray]] = []
    made: list[FloatArray] = []
    for mark in marks:
        badge = mark.place * metre
        for other, old in placed if mark.letter else []:
            apart = badge - old
            if np.linalg.norm(apart) < MARK_MM + 0.4:
                way = (mark.place - other.place) * metre
                length = float(np.linalg.norm(way))
                way = way / length if length > 1e-6 else np.array([1.0, 0.0])
                badge = old + way * (MARK_MM + 1.2)
        if mark.letter:
            placed.append((mark, badge))
        made.append(badge / metre)
    return made


def _settled(
    size: FloatArray,
    spot: FloatArray,
    frame: FloatArray,
    taken: Sequence[FloatArray],
    lines: FloatArray,
    weights: FloatArray,
) -> FloatArray:
    """The best free box (left, low, right, high) in millimetres; the spot itself when none is free."""
    half = 0.5 * size
    inner = np.concatenate([frame[:2] + half, np.maximum(frame[2:] - half, frame[:2] + half)])
    best, least = None, np.inf
    for ring in RINGS_MM:
        if ring * RING_COST >= least:
            break
        for turn in np.arange(12 if ring else 1) * (np.pi / 6.0) + 0.5 * np.pi:
            away = np.array([np.cos(turn), np.sin(turn)])
            middle = np.clip(spot + away * (ring + (half if ring else 0.0)), inner[:2], inner[2:])
            box = np.concatenate([middle - half, middle + half])
            if any(_overlap(box, other) > 0.0 for other in taken):
                continue
            cost = ring * RING_COST + float(_hidden_mm(box, lines) @ weights)
            if cost < least:
                best, least = box, cost
    if best is not None:
        return best
    middle = np.clip(spot, inner[:2], inner[2:])
    return np.concatenate([middle - half, middle + half])


def _segments(drawing: Drawing, metre: float) -> tuple[FloatArray, FloatArray]:
    """All line pieces (n, 4) of a drawing in millimetres, and what it costs to hide a millimetre of each (n,)."""
    pieces: list[FloatArray] = [np.zeros((0, 4))]
    costs: list[FloatArray] = [np.zeros(0)]
    for outline in drawing.outlines:
        points = outline.points * metre
        ends = np.roll(points, -1, axis=0) if outline.closed else points[1:]
        pieces.append(np.hstack([points if outline.closed else points[:-1], ends]))
        costs.append(np.full(len(ends), LINE_COST[outline.weight]))
    return np.concatenate(pieces), np.concatenate(costs)


def _hidden_mm(box: FloatArray, lines: FloatArray) -> FloatArray:
    """Length (n,) of each line piece (n, 4) inside a box (Liang and Barsky's clipping)."""
    start, along = lines[:, :2], lines[:, 2:] - lines[:, :2]
    first, last = np.zeros(len(lines)), np.ones(len(lines))
    for axis in (0, 1):
        step = np.where(np.abs(along[:, axis]) < 1e-9, 1e-9, along[:, axis])
        enter, leave = (box[axis] - start[:, axis]) / step, (box[axis + 2] - start[:, axis]) / step
        first = np.maximum(first, np.minimum(enter, leave))
        last = np.minimum(last, np.maximum(enter, leave))
    return np.asarray(np.maximum(last - first, 0.0) * np.linalg.norm(along, axis=1), dtype=np.float64)


def _overlap(one: FloatArray, other: FloatArray) -> float:
    shared = np.minimum(one[2:], other[2:]) - np.maximum(one[:2], other[:2])
    return float(max(shared[0], 0.0) * max(shared[1], 0.0))


def _mark_box(mark: Mark, middle: FloatArray) -> FloatArray:
    half = 0.5 * (MARK_MM if mark.letter or mark.shape == "cross" else 1.2)
    return np.concatenate([middle - half, middle + half])
