"""Which of many layouts are worth a look: the measure against the difference of left and right.

The size of a mark tells what a layout costs in panels or money; where left and right hardly differ in any layout, that
is the upward axis.  Layouts that another beats are grey.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from sim.acoustics.levels import SILENCE_DB
from sim.arrays import FloatArray, IntArray
from sim.responses.measure import SAME_DB
from sim.showing.labels import Label, headline, on_figure, write_labels
from sim.showing.style import HAIRLINE, INK, SOFT_INK, house_style, new_figure, save
from sim.studies.compare.many import EQUAL_DB, Many

WIDTH_IN, PLOT_IN, LIST_IN, TOP_IN, BOTTOM_IN, LINE_IN = 11.0, 4.6, 4.1, 0.95, 0.8, 0.185
LEAST_PT2, MOST_PT2 = 45.0, 420.0
FRONT_COLOUR: Final = "#0072b2"
MOST_LISTED: Final = 40
LEAST_SPAN_DB: Final = 2.0
COST_WORDS: Final = {"panels": "panels", "price": "money for panels"}


def draw_pareto(many: Many, path: Path) -> Path:
    """Write the layouts by what they achieve and cost as PNG."""
    return save(pareto_figure(many), path)


def nothing_traded(many: Many) -> str:
    """A sentence where no layout is better in one thing and worse in another, else an empty text."""
    front = np.flatnonzero(many.front)
    apart = np.ptp(many.costs, axis=0)
    if (apart <= [SAME_DB, EQUAL_DB, 0.0]).all():
        return "all are the same within what can be told: there is nothing to trade off"
    if len(front) == 1:
        return f"{many.letters[int(front[0])]} is as good as any or better in everything: there is nothing to trade off"
    return ""


def _words_only(many: Many, order: IntArray, sentence: str) -> Figure:
    """The list alone, under the sentence that takes the place of the drawing."""
    rows = min(len(order), MOST_LISTED) + (len(order) > MOST_LISTED)
    height = TOP_IN + LINE_IN * (rows + 2) + 0.3
    figure = new_figure(WIDTH_IN, height)
    headline(figure, (0.02, 1.0 - 0.28 / height), f"{len(order)} layouts: which are worth a look", size=11)
    headline(figure, (0.02, 1.0 - 0.55 / height), sentence, size=10)
    _list(figure, many, order, height, 0.02, 0.55)
    return figure


def pareto_figure(many: Many) -> Figure:
    """Draw one mark a layout, with its letter, and list the titles beside; only words where nothing is traded off."""
    count = len(many.titles)
    rows = min(count, MOST_LISTED) + (count > MOST_LISTED)
    height = max(TOP_IN + PLOT_IN + BOTTOM_IN, TOP_IN + LINE_IN * (rows + 2) + 0.3)
    order = np.argsort(~many.front, kind="stable")  # those in front first, so that none of them is left out
    sentence = nothing_traded(many)
    if sentence:
        with house_style():
            return _words_only(many, order, sentence)
    with house_style():
        figure = new_figure(WIDTH_IN, height)
        headline(figure, (0.02, 1.0 - 0.28 / height), f"{count} layouts: which are worth a look", size=11)
        upward, sized = (1, 2) if float(np.ptp(many.costs[:, 1])) > EQUAL_DB else (2, 1)
        bigger = {1: "left and right further apart", 2: f"more {COST_WORDS[many.cost_word]}"}[sized]
        words = f"lower left is better; larger marks: {bigger}; differences up to {EQUAL_DB:g} dB count as none"
        headline(figure, (0.02, 1.0 - 0.5 / height), words, size=8, color=SOFT_INK)
        width = (WIDTH_IN - 0.8 - LIST_IN - 0.3) / WIDTH_IN
        place = figure.add_axes((0.8 / WIDTH_IN, 1.0 - (TOP_IN + PLOT_IN) / height, width, PLOT_IN / height))
        place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)
        silent = many.costs[:, 0] <= 0.5 * SILENCE_DB
        spots = many.costs[:, [0, upward]]
        if silent.any() and not silent.all():
            spots[silent, 0] = spots[~silent, 0].min() - 3.0  # nothing arrives there: the far left end
        for axis, low in ((0, None), (1, 0.0)):
            limits = _limits(spots[:, axis], low)
            (place.set_xlim if axis == 0 else place.set_ylim)(*limits)
        sizes = _sizes(many.costs[:, sized], LEAST_SPAN_DB if sized == 1 else 1.0e-9)
        for number in order[::-1]:
            front = bool(many.front[number])
            place.scatter(
                spots[number, 0],
                spots[number, 1],
                s=sizes[number],
                facecolor="white" if front else "#dddddd",
                edgecolor=FRONT_COLOUR if front else HAIRLINE,
                linewidth=2.0 if front else 1.0,
                zorder=4 if front else 3,
                clip_on=False,
            )
        if place.get_xlim()[0] < 0.0 < place.get_xlim()[1]:
            place.axvline(0.0, color=INK, linewidth=0.9, linestyle=(0, (7, 2)), zorder=2)
            place.text(0.0, 1.01, "target", transform=place.get_xaxis_transform(), ha="center", fontsize=7.5)
        place.set_xlabel("measure, dB (less is better)")
        whole = f"{COST_WORDS[many.cost_word]} of the layout"
        place.set_ylabel("early level of left and right apart, dB" if upward == 1 else whole)
        if upward == 2 and many.cost_word == "panels":
            place.yaxis.set_major_locator(MaxNLocator(integer=True))
        pixels = on_figure(place, spots)
        half = 0.5 * np.sqrt(sizes) / 72.0 * figure.dpi
        taken = [np.concatenate([spot - 0.7 * r, spot + 0.7 * r]) for spot, r in zip(pixels, half, strict=True)]
        labels = [
            Label(
                many.letters[n],
                (float(pixels[n, 0]), float(pixels[n, 1])),
                INK if many.front[n] else SOFT_INK,
                size=8.5 if many.front[n] else 7.5,
                bold=bool(many.front[n]),
            )
            for n in order
        ]
        write_labels(figure, labels, place.bbox.expanded(1.06, 1.06), taken)
        _list(figure, many, order, height, (WIDTH_IN - LIST_IN) / WIDTH_IN)
    return figure


def _limits(values: FloatArray, least: float | None) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    spare = max(0.08 * (high - low), 0.5 * (LEAST_SPAN_DB - (high - low)), 0.2)
    return (low - spare if least is None else least - 0.04 * (high + spare), high + spare)


def _sizes(costs: FloatArray, least: float) -> FloatArray:
    """Area of the marks: from the smallest, which costs nothing, to the largest, which costs `least` or more."""
    return np.asarray(LEAST_PT2 + (MOST_PT2 - LEAST_PT2) * costs / max(float(costs.max()), least))


def _list(figure: Figure, many: Many, order: IntArray, height: float, left: float, right: float = 0.985) -> None:
    """Letters and titles with what they cost, those worth a look first and bold."""
    top = 1.0 - TOP_IN / height
    figure.text(left, top, f"layout, {many.cost_word}", fontsize=8, fontweight="bold", va="top")
    for row, number in enumerate(order[:MOST_LISTED].tolist()):
        front = bool(many.front[number])
        y = top - LINE_IN * (row + 1) / height
        cost = f"{many.costs[number, 2]:g}"
        words = f"{many.letters[number]}: {many.titles[number]}"
        text = headline(
            figure,
            (left, y),
            words,
            size=8,
            right=right - 0.06,
            va="top",
            color=INK if front else SOFT_INK,
            fontweight="bold" if front else "normal",
        )
        figure.text(right, y, cost, fontsize=text.get_fontsize(), va="top", ha="right", color=text.get_color())
    if len(order) > MOST_LISTED:
        y = top - LINE_IN * (MOST_LISTED + 1) / height
        figure.text(left, y, f"and {len(order) - MOST_LISTED} more, see many.csv", fontsize=7.5, va="top")
