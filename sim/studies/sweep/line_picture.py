"""A sweep of one field as lines, and all pictures of a sweep.

Loudspeakers are told apart by the kind of line, surfaces by colour and marker; every line is named at its end.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.transforms import Bbox

from sim.arrays import FloatArray, IntArray
from sim.layouts.plan import SweepTask
from sim.layouts.records import Axis, Sweep
from sim.progress import Report
from sim.showing.child_drawing import file_name
from sim.showing.labels import Label, on_figure, write_labels
from sim.showing.numbers import level_words
from sim.showing.style import DOTS_PER_INCH, HAIRLINE, INK, SOFT_INK, SURFACE, house_style, new_figure, save
from sim.studies.sweep.animation_picture import draw_animation
from sim.studies.sweep.findings import Findings
from sim.studies.sweep.map_picture import draw_sweep_map
from sim.studies.sweep.picture_words import (
    UNDER_TARGET_DB,
    Curve,
    Event,
    axis_words,
    best_spans,
    early_curves,
    events,
    impossible_spans,
    line_through,
    notes_below,
    surface_curves,
    write_title,
)

WIDTH_IN, LEFT_IN, RIGHT_IN = 10.0, 0.85, 2.2
EARLY_IN, SURFACES_IN, STRIP_IN, GAP_IN = 1.75, 3.0, 0.6, 0.5
NOTE_IN: Final = 0.17
LINE_POINTS: Final = 11.5
MOST_EVENTS: Final = 10
MOST_MARKERS: Final = 41
BEST_COLOUR: Final = "#dcebd9"


def draw_sweep_line(sweep: Sweep, found: Findings, path: Path, *, axis: int = 0) -> Path:
    """Write the levels along one axis of a sweep as PNG."""
    return save(line_figure(sweep, found, axis=axis), path)


def line_figure(sweep: Sweep, found: Findings, *, axis: int = 0) -> Figure:
    """Draw levels along one axis, all others at the best point.  Raises ValueError when no layout is possible."""
    if found.best < 0:
        raise ValueError("no layout of the sweep is possible, so there is nothing to draw")
    plan = sweep.plan
    shown_axis = plan.axes[axis]
    line = line_through(sweep, axis)
    metres = np.sort(shown_axis.values)
    values = np.asarray(shown_axis.in_unit(metres), dtype=np.float64)
    happens = events(found.thresholds, axis, shown_axis)
    heard = [event for event in happens if event.level_db > plan.target.level_db - UNDER_TARGET_DB]
    loudest = sorted(heard, key=lambda event: -event.level_db)[:MOST_EVENTS]
    marked = [event for event in happens if event in loudest]
    with house_style():
        curves, left_out = surface_curves(sweep, line)
        notes = notes_below(sweep, line, metres, axis, marked, len(happens), left_out)
        height = 0.6 + STRIP_IN + EARLY_IN + GAP_IN + SURFACES_IN + 0.6 + NOTE_IN * len(notes) + 0.12
        figure = new_figure(WIDTH_IN, height)
        early, surfaces = _places(figure, height)
        write_title(figure, sweep, axis, height)
        for place in (early, surfaces):
            _ground(place, sweep, line, metres, shown_axis, words=place is early)
        shown = len(values) <= MOST_MARKERS
        lines = early_curves(sweep, line)
        _curves(early, values, lines, markers=shown)
        _curves(surfaces, values, curves, markers=shown)
        _levels(early, lines, None)
        _levels(surfaces, curves, plan.target.level_db)
        early.set_ylabel("early level, dB")
        surfaces.set_ylabel("strongest octave, dB")
        early.tick_params(labelbottom=False)
        surfaces.set_xlabel(axis_words(sweep, axis))
        surfaces.axhline(plan.target.level_db, color=INK, linewidth=1.1, linestyle=(0, (7, 2)), zorder=2.5)
        _limits(figure, early, surfaces, found, axis, shown_axis)
        _name_ends(figure, early, values, lines, [])
        words = f"target {level_words(plan.target.level_db)}"
        _name_ends(figure, surfaces, values, curves, [(words, plan.target.level_db)])
        _mark(figure, surfaces, shown_axis, marked)
        for row, words in enumerate(notes):
            y = (0.12 + NOTE_IN * (len(notes) - 1 - row)) / height
            figure.text(LEFT_IN / WIDTH_IN, y, words, fontsize=7.5, va="bottom", color=SOFT_INK)
    return figure


def _places(figure: Figure, height: float) -> tuple[Axes, Axes]:
    width = (WIDTH_IN - LEFT_IN - RIGHT_IN) / WIDTH_IN
    top = height - 0.6 - STRIP_IN
    early = figure.add_axes((LEFT_IN / WIDTH_IN, (top - EARLY_IN) / height, width, EARLY_IN / height))
    low = top - EARLY_IN - GAP_IN - SURFACES_IN
    surfaces = figure.add_axes((LEFT_IN / WIDTH_IN, low / height, width, SURFACES_IN / height))
    for place, words in (
        (early, "all first reflections inside the window together"),
        (surfaces, "loudest surfaces, each alone"),
    ):
        place.set_title(words, loc="left", fontsize=8.5, color=SOFT_INK, pad=4)
    return early, surfaces


def _ground(place: Axes, sweep: Sweep, line: IntArray, metres: FloatArray, shown_axis: Axis, *, words: bool) -> None:
    """Shade the best settings and grey the impossible ones."""
    place.grid(color=HAIRLINE, linewidth=0.4, alpha=0.6)
    span = np.asarray(shown_axis.in_unit(metres), dtype=np.float64)
    spare = 0.02 * float(np.ptp(span)) or max(0.05 * abs(float(span[0])), 0.5)
    place.set_xlim(span[0] - spare, span[-1] + spare)
    for low, high in best_spans(sweep, line, metres):
        ends = np.asarray(shown_axis.in_unit(np.array([low, high])))
        narrow = 0.25 * spare if ends[0] == ends[1] else 0.0
        place.axvspan(ends[0] - narrow, ends[1] + narrow, facecolor=BEST_COLOUR, edgecolor="none", zorder=0.5)
    for low, high, _ in impossible_spans(sweep, line, metres):
        left = float(shown_axis.in_unit(low)) - spare * (low == metres[0])
        right = float(shown_axis.in_unit(high)) + spare * (high == metres[-1])
        place.axvspan(left, right, facecolor=SURFACE, edgecolor=HAIRLINE, hatch="///", linewidth=0.0, zorder=0.6)
        wide = (right - left) / (span[-1] - span[0] + 2.0 * spare) > 0.12
        if words:
            place.text(
                0.5 * (left + right),
                0.5,
                "impossible",
                transform=place.get_xaxis_transform(),
                ha="center",
                va="center",
                fontsize=8,
                rotation=0 if wide else 90,
                color=SOFT_INK,
                zorder=6,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
            )


def _curves(place: Axes, values: FloatArray, curves: Sequence[Curve], *, markers: bool) -> None:
    for curve in curves:
        every = max(1, len(values) // 12)
        place.plot(
            values,
            curve.level_db,
            color=curve.colour,
            linestyle=curve.line,
            linewidth=1.5,
            marker=curve.marker,
            markersize=4.0,
            markevery=1 if markers else every,
            markerfacecolor="white",
            markeredgewidth=1.1,
            zorder=3,
        )


def _levels(place: Axes, curves: Sequence[Curve], target_db: float | None) -> None:
    """Limits of the level axis: all that is not far under the target, and never less than 3 dB."""
    known = np.concatenate([curve.level_db[np.isfinite(curve.level_db)] for curve in curves] or [np.zeros(0)])
    low, high = (float(known.min()), float(known.max())) if known.size else (-30.0, 0.0)
    if target_db is not None:
        low, high = max(min(low, target_db), target_db - UNDER_TARGET_DB), max(high, target_db)
    spare = max(0.08 * (high - low), 0.5 * (3.0 - (high - low)), 0.3)
    place.set_ylim(low - spare, high + 2.2 * spare if target_db is not None else high + spare)


def _limits(figure: Figure, early: Axes, surfaces: Axes, found: Findings, axis: int, shown_axis: Axis) -> None:
    """Draw lines at settings worth one, named above the upper panel."""
    labels: list[Label] = []
    for limit in found.limits:
        if limit.axis != axis:
            continue
        value = float(shown_axis.in_unit(limit.value))
        for place in (early, surfaces):
            place.axvline(value, color=SOFT_INK, linewidth=0.9, linestyle=(0, (2, 2)), zorder=2)
        x, y = on_figure(early, np.array([[value, early.get_ylim()[1]]]))[0]
        title_px = 17.0 / 72.0 * DOTS_PER_INCH
        words = textwrap.fill(limit.words, 24)
        labels.append(Label(words, (float(x), float(y) + title_px), SOFT_INK, size=7.5))
    if labels:
        frame = Bbox.from_bounds(
            0.3 * DOTS_PER_INCH,
            early.bbox.y1 + 16.0 / 72.0 * DOTS_PER_INCH,
            (WIDTH_IN - 0.6) * DOTS_PER_INCH,
            (STRIP_IN + 0.08) * DOTS_PER_INCH - 16.0 / 72.0 * DOTS_PER_INCH,
        )
        write_labels(figure, labels, frame, upward=True)


def _name_ends(
    figure: Figure, place: Axes, values: FloatArray, curves: Sequence[Curve], more: Sequence[tuple[str, float]]
) -> None:
    """Name every line beside the axes, in order of height, none over another, with a hairline to its end."""
    entries: list[tuple[float, float, str, str]] = []
    low, high = place.get_ylim()
    for curve in curves:
        last = int(np.flatnonzero(np.isfinite(curve.level_db))[-1])
        level = float(np.clip(curve.level_db[last], low, high))
        entries.append((level, float(values[last]), curve.words, curve.colour))
    entries += [(level, place.get_xlim()[1], words, INK) for words, level in more]
    entries.sort(key=lambda entry: entry[0])
    spots = on_figure(place, np.array([[x, y] for y, x, _, _ in entries]))
    tall = [LINE_POINTS / 72.0 * DOTS_PER_INCH * (words.count("\n") + 1) for _, _, words, _ in entries]
    rows = spread(spots[:, 1], tall, place.bbox.y0, place.bbox.y1)
    edge = place.bbox.x1 + 0.12 * DOTS_PER_INCH
    to_fraction = figure.transFigure.inverted().transform
    for (x, y), row, (_, _, words, colour) in zip(spots, rows, entries, strict=True):
        ends = to_fraction(np.array([[x + 5.0, y], [place.bbox.x1, y], [edge - 4.0, row]]))
        figure.add_artist(Line2D(ends[:, 0].tolist(), ends[:, 1].tolist(), color=colour, linewidth=0.6, alpha=0.7))
        at = to_fraction((edge, row))
        figure.text(at[0], at[1], words, fontsize=8, color=colour, va="center")


def spread(wanted: FloatArray, tall: Sequence[float], low: float, high: float) -> FloatArray:
    """Move middles (n,), in rising order, of words so and so tall apart, as near to where they were as may be."""
    rows = np.clip(wanted, low, high).astype(np.float64)
    steps = [0.5 * (one + other) for one, other in pairwise(tall)]
    for number, step in enumerate(steps):
        rows[number + 1] = max(rows[number + 1], rows[number] + step)
    if len(rows) and rows[-1] > high:
        rows[-1] = high
        for number in range(len(steps) - 1, -1, -1):
            rows[number] = min(rows[number], rows[number + 1] - steps[number])
    return rows


def _mark(figure: Figure, place: Axes, shown_axis: Axis, marked: Sequence[Event]) -> None:
    """Number the settings at which reflections appear (mark up) and leave (mark down)."""
    if not marked:
        return
    low, high = place.get_ylim()
    lowest = low + 0.03 * (high - low)
    spots = [[float(shown_axis.in_unit(event.value)), float(np.clip(event.level_db, lowest, high))] for event in marked]
    for (x, y), event in zip(spots, marked, strict=True):
        place.plot([x, x], [y, high], color=HAIRLINE, linewidth=0.9, zorder=2.2)
        place.plot(
            x,
            y,
            marker="^" if event.appears else "v",
            markersize=7,
            color=INK,
            markerfacecolor="#ffd166",
            zorder=5,
        )
    pixels = on_figure(place, np.array(spots))
    labels = [Label(str(number + 1), (float(x), float(y)), INK, bold=True) for number, (x, y) in enumerate(pixels)]
    write_labels(figure, labels, place.bbox, [np.concatenate([spot - 6.0, spot + 6.0]) for spot in pixels])


# All pictures of a sweep: lines, maps and the animation of hotspots.

MOST_LINES: Final = 4
"""Of sweeps of more fields than this, lines are drawn along the first ones only."""


def draw_sweep_pictures(sweep: Sweep, task: SweepTask, found: Findings, out: Path, report: Report) -> tuple[Path, ...]:
    """Write every picture of a sweep into a folder; none when no layout is possible.

    sweep_line.png for one field, or fields that run side by side; else sweep_map.png and a line along each field
    through the best, such as sweep_line_left_tilt.png.  hotspots.gif and hotspots_first_last.png where at least two
    layouts are possible.
    """
    if found.best < 0:
        return ()
    axes = sweep.plan.axes
    report("drawing lines")
    if len(axes) == 1 or sweep.plan.together:
        made = [draw_sweep_line(sweep, found, out / "sweep_line.png")]
    else:
        varying = [number for number, axis in enumerate(axes) if len(axis.values) > 1] or [0]
        made = [
            draw_sweep_line(sweep, found, out / f"sweep_line_{file_name(axes[number].field)}.png", axis=number)
            for number in varying[:MOST_LINES]
        ]
        report("drawing maps")
        made.append(draw_sweep_map(sweep, found, out / "sweep_map.png"))
    return (*made, *draw_animation(sweep, task, found, out, report))
