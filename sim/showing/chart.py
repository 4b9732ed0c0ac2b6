"""A chart as SVG in two sizes, for paper and for a phone; whoever turns on the page's script can read values off it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray
from sim.showing.page import escaped, number

WIDE: Final = (760.0, 320.0)
NARROW: Final = (348.0, 250.0)
LETTER_PX: Final = 5.9
"""Width of a letter of a label, on average (a guess on the safe side)."""
ROW_PX: Final = 15.0
MOST_ROWS: Final = 7
FULL_SIDES: Final = (46.0, 12.0)
NARROW_SIDES: Final = (40.0, 8.0)
"""Room at the left and at the right of a drawing, in its own units."""


@dataclass(frozen=True, slots=True)
class Series:
    """One curve: values (n,) in dB over the chart's places; colour, dashes and width of its line."""

    name: str
    values: FloatArray
    colour: str
    dashes: str = ""
    width: float = 1.8


@dataclass(frozen=True, slots=True)
class Background:
    """A thin curve over places (n,) of its own that is drawn but not told."""

    places: FloatArray
    values: FloatArray
    colour: str
    width: float = 0.8


@dataclass(frozen=True, slots=True)
class Flag:
    """A name over a place of the chart: full words where there is room, a short mark where there is not.

    before: the words stand to the left of their leader, as suits the first of all.
    """

    x: float
    y: float
    words: str
    mark: str
    before: bool = False


@dataclass(frozen=True, slots=True)
class Chart:
    """Curves over common places.

    places (n,); ends of both axes; ticks with their words.  shaded: rectangles (x0, x1, y0, y1, css class, words).
    logarithmic: the places run in octaves.  flags: names over places, the most telling first.
    """

    name: str
    label: str
    places: FloatArray
    series: tuple[Series, ...]
    across: tuple[float, float]
    upward: tuple[float, float]
    ticks: tuple[tuple[float, str], ...]
    across_words: str
    logarithmic: bool = False
    shaded: tuple[tuple[float, float, float, float, str, str], ...] = ()
    flags: tuple[Flag, ...] = ()
    behind: tuple[Background, ...] = ()
    height: float = WIDE[1]
    reported: dict[str, Any] = field(default_factory=dict)

    def data(self) -> dict[str, Any]:
        """What the page's script needs to tell values: places, and levels in tenths of a decibel."""
        return {
            "name": self.name,
            "log": self.logarithmic,
            "places": np.round(self.places, 3 if not self.logarithmic else 1).tolist(),
            "series": [{"name": one.name, "tenths": tenths(one.values)} for one in self.series],
            "across": list(self.across),
            "upward": list(self.upward),
            **self.reported,
        }

    def markup(self) -> str:
        """Both sizes; the style sheet shows the one that fits."""
        legend = "".join(
            f'<li><svg viewBox="0 0 34 10" aria-hidden="true"><path d="M1 5H33" stroke="{one.colour}"'
            f' stroke-width="{one.width}" stroke-dasharray="{one.dashes}"/></svg>'
            f'<span data-series="{place}">{escaped(one.name)}</span></li>'
            for place, one in enumerate(self.series)
        )
        drawn = self._drawn((WIDE[0], self.height), "wide") + self._drawn(NARROW, "narrow")
        return (
            f'<ul class="legend">{legend}</ul><div class="chart" id="{self.name}" role="group"'
            f' aria-label="{escaped(self.label)}">{drawn}</div>'
        )

    def _drawn(self, size: tuple[float, float], css: str) -> str:
        full = css == "wide"
        flags, rows = placed_flags(self, size[0], full)
        size = (size[0], size[1] + rows * ROW_PX)  # names go above, so that all charts have one scale
        sides = FULL_SIDES if full else NARROW_SIDES
        top, right, bottom, left = 10.0 + rows * ROW_PX, size[0] - sides[1], size[1] - 42.0, sides[0]
        paper = _Paper(self, (left, top, right, bottom))
        parts = [
            f'<svg class="{css}" viewBox="0 0 {size[0]:.0f} {size[1]:.0f}" aria-hidden="true"'
            f' data-frame="{left:.0f} {top:.0f} {right:.0f} {bottom:.0f}">'
        ]
        for x0, x1, y0, y1, kind, words in self.shaded:
            a, b, c, d = paper.x(x0), paper.x(x1), paper.y(y1), paper.y(y0)
            parts.append(f'<rect class="{kind}" x="{a:.1f}" y="{c:.1f}" width="{b - a:.1f}" height="{d - c:.1f}"/>')
            if words and full:
                parts.append(
                    f'<text class="note" x="{b - 6:.1f}" y="{c + 14:.1f}" text-anchor="end">{escaped(words)}</text>'
                )
        step = 10.0 if self.upward[1] - self.upward[0] > 40.0 else 6.0
        for level in np.arange(math.ceil(self.upward[0] / step) * step, self.upward[1] + 0.1, step).tolist():
            y = paper.y(level)
            kind = "zero" if abs(level) < 0.1 else "grid"
            parts.append(f'<path class="{kind}" d="M{left:.0f} {y:.1f}H{right:.0f}"/>')
            words = number(level, 0) + (" dB" if kind == "zero" else "")
            parts.append(f'<text x="{left - 6:.0f}" y="{y + 4:.1f}" text-anchor="end">{words}</text>')
        every = 1 if full or len(self.ticks) < 7 else 2
        for place, (at, words) in enumerate(self.ticks):
            x = paper.x(at)
            parts.append(f'<path class="grid" d="M{x:.1f} {top:.0f}V{bottom:.0f}"/>')
            if place % every == 0:
                parts.append(f'<text x="{x:.1f}" y="{bottom + 16:.0f}" text-anchor="middle">{escaped(words)}</text>')
        parts.append(
            f'<text x="{right:.0f}" y="{size[1] - 6:.0f}" text-anchor="end">{escaped(self.across_words)}</text>'
        )
        for thin in self.behind:
            line = paper.line(thin.places, thin.values)
            parts.append(f'<path class="line" d="{line}" stroke="{thin.colour}" stroke-width="{thin.width}"/>')
        for place, one in enumerate(self.series):
            parts.append(
                f'<path class="line" data-series="{place}" d="{paper.line(self.places, one.values)}"'
                f' stroke="{one.colour}" stroke-width="{one.width}" stroke-dasharray="{one.dashes}"/>'
            )
        for flag, row, anchor in flags:
            x, y = paper.x(flag.x), max(paper.y(flag.y), top)
            base = 10.0 + (rows - row) * ROW_PX - 4.0
            words = flag.words if full else flag.mark
            shift = {"start": 3.0, "end": -3.0, "middle": 0.0}[anchor] if full else 0.0
            parts.append(f'<path class="leader" d="M{x:.1f} {base + (3 if not full else -9):.1f}V{y - 2:.1f}"/>')
            parts.append(f'<circle class="peak" cx="{x:.1f}" cy="{y:.1f}" r="2.6"/>')
            parts.append(
                f'<text class="flag" x="{x + shift:.1f}" y="{base:.1f}" text-anchor="{anchor}">{escaped(words)}</text>'
            )
        parts.append(f'<path class="cursor" d="M0 {top:.0f}V{bottom:.0f}" visibility="hidden"/></svg>')
        return "".join(parts)


class _Paper:
    """From values to places on the drawing."""

    def __init__(self, chart: Chart, frame: tuple[float, float, float, float]) -> None:
        self.chart, self.frame = chart, frame

    def x(self, value: float) -> float:
        low, high = self.chart.across
        if self.chart.logarithmic:
            value, low, high = math.log(value), math.log(low), math.log(high)
        fraction = (value - low) / (high - low)
        return self.frame[0] + min(max(fraction, 0.0), 1.0) * (self.frame[2] - self.frame[0])

    def y(self, value: float) -> float:
        low, high = self.chart.upward
        return self.frame[3] - min(max((value - low) / (high - low), 0.0), 1.0) * (self.frame[3] - self.frame[1])

    def line(self, places: FloatArray, values: FloatArray) -> str:
        """A path with at most two points for each half of a pixel: the lowest and the highest there."""
        spots = np.array([[self.x(p), self.y(v)] for p, v in zip(places.tolist(), values.tolist(), strict=True)])
        column = np.floor(2.0 * spots[:, 0]).astype(np.int64)
        kept: list[int] = []
        for group in np.split(np.arange(len(spots)), np.flatnonzero(np.diff(column)) + 1):
            ends = {int(group[np.argmin(spots[group, 1])]), int(group[np.argmax(spots[group, 1])])}
            kept += sorted(ends)
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots[kept].tolist())


def tenths(values: FloatArray) -> list[int]:
    """Levels in whole tenths of a decibel, none below -200 dB."""
    return [int(value) for value in np.round(10.0 * np.clip(values, -200.0, 200.0))]


def placed_flags(chart: Chart, width: float, full: bool) -> tuple[list[tuple[Flag, int, str]], int]:
    """Find a row over the chart for as many flags as have room, the first ones given first.

    Words run to the right of their leader, so whoever stands further left hangs in a higher row.
    """
    chosen: list[Flag] = []
    best: list[tuple[Flag, int, str]] = []
    for flag in chart.flags:
        found = _rows([*chosen, flag], chart, width, full)
        if found is not None:
            chosen.append(flag)
            best = found
    return best, 1 + max((row for _, row, _ in best), default=-1)


def _rows(flags: Sequence[Flag], chart: Chart, width: float, full: bool) -> list[tuple[Flag, int, str]] | None:
    """Rows for all of these flags, from right to left, or None when one finds no room."""
    left, right = FULL_SIDES if full else NARROW_SIDES
    placed: list[tuple[Flag, int, str]] = []
    words: list[tuple[int, float, float]] = []
    leaders: list[tuple[int, float]] = []
    for flag in sorted(flags, key=lambda one: -one.x):
        fraction = (flag.x - chart.across[0]) / (chart.across[1] - chart.across[0])
        x = left + fraction * (width - right - left)
        length = LETTER_PX * len(flag.words if full else flag.mark) + 8.0
        outside = x + length > width or (flag.before and x >= length)
        anchor, low, high = ("end", x - length, x + 2.0) if outside else ("start", x - 2.0, x + length)
        if not full:
            anchor, low, high = "middle", x - 0.5 * length, x + 0.5 * length
        if low < 0.0 or high > width:
            return None
        row = next(
            (
                row
                for row in range(MOST_ROWS)
                if all(r != row or high <= a or low >= b for r, a, b in words)
                and all(r <= row or not low - 2.0 < at < high for r, at in leaders)
                and all(r >= row or not a - 2.0 < x < b for r, a, b in words)
            ),
            None,
        )
        if row is None:
            return None
        words.append((row, low, high))
        leaders.append((row, x))
        placed.append((flag, row, anchor))
    return placed
