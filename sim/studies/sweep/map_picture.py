"""A sweep of two fields as maps: its cells, what settings are judged by, the most affected surfaces."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm, Colormap, ListedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from sim.acoustics.levels import SILENCE_DB
from sim.arrays import BoolArray, FloatArray, IntArray
from sim.layouts.records import DONE, EQUAL_DB, IMPOSSIBLE, OPEN, Sweep, best_point, merit_db
from sim.showing.labels import headline
from sim.showing.numbers import hertz_range, joined, level_words
from sim.showing.style import HAIRLINE, INK, PAPER, SOFT_INK, SURFACE, house_style, new_figure, save
from sim.studies.sweep.findings import Findings
from sim.studies.sweep.picture_words import UNDER_TARGET_DB, others_at, plain, short_reason

MOST_CLASSES: Final = 9


@dataclass(frozen=True, slots=True)
class Grid:
    """Points (upward, across) of two axes, in rising order, all other axes at the best point.

    axes are the numbers of the axis that runs across and of the one that runs upward; across and upward are their
    values in the unit that people are told.
    """

    axes: tuple[int, int]
    points: IntArray
    across: FloatArray
    upward: FloatArray


def grid_of(sweep: Sweep, across: int, upward: int) -> Grid:
    """Lay two axes of a sweep out; upward and across must not be the same."""
    plan = sweep.plan
    place: list[int | slice] = list(plan.places(max(best_point(sweep), 0)))
    place[across] = place[upward] = slice(None)
    points = np.arange(plan.points).reshape(plan.shape)[tuple(place)]
    points = points.T if across < upward else points
    orders = [np.argsort(plan.axes[number].values) for number in (across, upward)]
    values = [
        np.asarray(plan.axes[number].in_unit(plan.axes[number].values[order]), dtype=np.float64)
        for number, order in zip((across, upward), orders, strict=True)
    ]
    return Grid((across, upward), np.asarray(points[np.ix_(orders[1], orders[0])]), values[0], values[1])


def cell_edges(middles: FloatArray) -> FloatArray:
    """Edges (n + 1,) of cells around values (n,) in rising order: half-way between, as far outside as inside."""
    if len(middles) == 1:
        half = 0.5 * max(abs(float(middles[0])) * 0.1, 0.5)
        return np.array([middles[0] - half, middles[0] + half])
    between = 0.5 * (middles[1:] + middles[:-1])
    return np.concatenate([[2.0 * middles[0] - between[0]], between, [2.0 * middles[-1] - between[-1]]])


def regions_of(merit_db: FloatArray, best_db: float) -> BoolArray:
    """Cells that are as good as the best."""
    return np.asarray(np.nan_to_num(merit_db, nan=np.inf) <= best_db + EQUAL_DB)


def outline(inside: BoolArray, x: FloatArray, y: FloatArray) -> list[FloatArray]:
    """Segments (2, 2) along the border of the cells that are inside; x (columns + 1,) and y (rows + 1,) are edges."""
    padded = np.pad(inside, 1)
    segments = []
    for row, column in np.argwhere(padded[1:-1, 1:] != padded[1:-1, :-1]):
        segments.append(np.array([[x[column], y[row]], [x[column], y[row + 1]]]))
    for row, column in np.argwhere(padded[1:, 1:-1] != padded[:-1, 1:-1]):
        segments.append(np.array([[x[column], y[row]], [x[column + 1], y[row]]]))
    return segments


def classes(levels_db: FloatArray) -> tuple[FloatArray, Colormap]:
    """Borders of the classes that levels fall into, at round numbers, and a colour for each, pale to dark."""
    known = levels_db[np.isfinite(levels_db) & (levels_db > SILENCE_DB)]
    low, high = (float(known.min()), float(known.max())) if known.size else (-1.0, 0.0)
    step = next(one for one in (0.25, 0.5, 1.0, 2.0, 2.5, 5.0, 10.0, 20.0) if (high - low) / one < MOST_CLASSES - 1)
    edges = np.arange(np.floor(low / step), np.floor(high / step) + 2.0) * step
    shades = matplotlib.colormaps["cividis_r"](np.linspace(0.02, 0.95, len(edges) - 1))
    return edges, ListedColormap([tuple(shade) for shade in shades]).with_extremes(under=PAPER, bad=SURFACE)


# A sweep of two fields as maps: what settings are judged by, the strongest reflection, the most affected surface.
#
# Each cell is one layout.  Of more than two fields the two with the most values are drawn, the others at the best.

WIDTH_IN, PANEL_IN, TOP_IN, BOTTOM_IN, NOTE_IN = 13.5, 3.15, 1.3, 0.75, 0.17
LEFTS_IN: Final = (0.85, 5.25, 9.65)
TARGET_COLOUR: Final = "#d55e00"
NOW: Final = "the scene as it stands"
NUMBERED_PX: Final = (30.0, 17.0)
"""Cells of at least this size have their number written in."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One panel: levels (point,) in dB, nan where a layout is not done, -200 where nothing arrives; and its title.

    Levels under least_db are drawn in the colour of that.
    """

    title: str
    level_db: FloatArray
    least_db: float


def draw_sweep_map(sweep: Sweep, found: Findings, path: Path) -> Path:
    """Write the maps of a sweep of two or more fields as PNG."""
    return save(sweep_map_figure(sweep, found), path)


def map_axes(sweep: Sweep) -> tuple[int, int]:
    """Numbers of the axes that run across and up: the two with the most values, in their order."""
    lengths = [len(axis.values) for axis in sweep.plan.axes]
    first, second = sorted(sorted(range(len(lengths)), key=lambda number: -lengths[number])[:2])
    return first, second


def sheets(sweep: Sweep, points: IntArray | None = None) -> tuple[Sheet, ...]:
    """The three panels; the most affected surface is the one whose level changes most among `points`."""
    figures, done = sweep.figures, sweep.state == DONE
    picked = done if points is None else done & np.isin(np.arange(len(done)), points)
    over, worst = np.full(len(done), np.nan), np.full((len(done), len(sweep.plan.surfaces)), np.nan)
    over[picked] = np.maximum(figures.over_target_db[picked].max(axis=1), SILENCE_DB)
    worst[picked] = np.maximum(figures.worst_db[picked].max(axis=1), SILENCE_DB)
    floor = sweep.plan.target.level_db - UNDER_TARGET_DB  # changes further down do not count
    spread = np.ptp(np.maximum(worst[picked], floor), axis=0)
    f = int(np.argmax(spread))
    merit = np.where(picked, merit_db(sweep), np.nan)
    target = level_words(sweep.plan.target.level_db)
    return (
        Sheet("all first reflections together,\nlouder monitor, dB re direct", merit, floor),
        Sheet(f"strongest single reflection,\ndB over the target of {target}", over, -UNDER_TARGET_DB),
        Sheet(f"{sweep.plan.surfaces[f]}, which changes most,\nlouder monitor, dB re direct", worst[:, f], floor),
    )


def sweep_map_figure(sweep: Sweep, found: Findings) -> Figure:
    """Draw the maps side by side.

    Raises ValueError when no layout is possible, there is one field, or fields run side by side.
    """
    plan = sweep.plan
    if found.best < 0 or len(plan.axes) < 2 or plan.together:
        raise ValueError("a map needs two fields whose values make a grid, and a layout that is possible")
    grid = grid_of(sweep, *map_axes(sweep))
    notes = _notes(sweep, found, grid)
    height = TOP_IN + PANEL_IN + BOTTOM_IN + NOTE_IN * len(notes) + 0.2
    with house_style():
        figure = new_figure(WIDTH_IN, height)
        _title(figure, sweep, grid, height)
        low, target_met = (height - TOP_IN - PANEL_IN) / height, False
        for number, sheet in enumerate(sheets(sweep, grid.points.ravel())):
            place = figure.add_axes((LEFTS_IN[number] / WIDTH_IN, low, 2.95 / WIDTH_IN, PANEL_IN / height))
            bar = figure.add_axes(((LEFTS_IN[number] + 3.05) / WIDTH_IN, low, 0.14 / WIDTH_IN, PANEL_IN / height))
            _panel(place, bar, sweep, grid, sheet)
            _limits(place, sweep, found, grid)
            if number == 1:
                target_met = _target(place, grid, sheet)
            if number:
                place.set_ylabel("")
        _keys(figure, height, low, notes, target_met=target_met, beside=_has_numbers(place, grid))
        for row, words in enumerate(notes):
            y = (0.14 + NOTE_IN * (len(notes) - 1 - row)) / height
            figure.text(LEFTS_IN[0] / WIDTH_IN, y, words, fontsize=7.5, va="bottom", color=SOFT_INK)
    return figure


def _title(figure: Figure, sweep: Sweep, grid: Grid, height: float) -> None:
    plan = sweep.plan
    names = " and ".join(f"{plan.axes[number].field}" for number in grid.axes)
    headline(figure, (0.02, 1.0 - 0.28 / height), f"{plan.title}: {names}", size=11)
    octaves = hertz_range(*plan.target.band_hz)
    start, stop = plan.target.window_ms
    moved = "; ".join(plan.axes[number].words for number in grid.axes if "," in plan.axes[number].words)
    parts = [
        f"octaves {octaves}, {start:g} to {stop:g} ms, first reflections",
        moved,
        others_at(sweep, grid.axes),
    ]
    headline(figure, (0.02, 1.0 - 0.5 / height), "; ".join(part for part in parts if part), size=8, color=SOFT_INK)


def _panel(place: Axes, bar: Axes, sweep: Sweep, grid: Grid, sheet: Sheet) -> None:
    across, upward = (sweep.plan.axes[number] for number in grid.axes)
    levels = sheet.level_db[grid.points]
    edges, colours = classes(np.where(levels > SILENCE_DB, np.maximum(levels, sheet.least_db), levels))
    norm = BoundaryNorm(edges.tolist(), len(edges) - 1)
    x, y = cell_edges(grid.across), cell_edges(grid.upward)
    shown = np.ma.masked_invalid(np.where(levels > SILENCE_DB, np.maximum(levels, edges[0]), edges[0] - 1.0))
    shown = np.ma.masked_where(np.isnan(levels), shown)
    place.pcolormesh(x, y, shown, cmap=colours, norm=norm, edgecolors="none", zorder=1)
    for state, hatch in ((IMPOSSIBLE, "///"), (OPEN, "...")):
        for row, column in np.argwhere(sweep.state[grid.points] == state):
            place.fill_between(
                x[column : column + 2],
                y[row],
                y[row + 1],
                facecolor=SURFACE,
                edgecolor=HAIRLINE,
                hatch=hatch,
                linewidth=0.0,
                zorder=1.5,
            )
    good = merit_db(sweep)[grid.points]
    for line in outline(regions_of(good, float(np.nanmin(merit_db(sweep)))), x, y):
        place.plot(*line.T, color=PAPER, linewidth=4.0, zorder=3, solid_capstyle="projecting")
        place.plot(*line.T, color=INK, linewidth=1.8, zorder=3.1, solid_capstyle="projecting")
    place.set_xlim(x[0], x[-1])
    place.set_ylim(y[0], y[-1])
    place.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    place.yaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 2.5, 5, 10]))
    place.set_xlabel(f"{across.field}, {across.unit}" if across.unit else across.field)
    place.set_ylabel(f"{upward.field}, {upward.unit}" if upward.unit else upward.field)
    place.set_title(sheet.title, loc="left", fontsize=8.5, pad=18)
    drawn = place.figure.colorbar(ScalarMappable(norm, colours), cax=bar, ticks=edges.tolist())
    drawn.ax.tick_params(labelsize=7.5)
    _numbers(place, levels, grid, norm, colours)


def _numbers(place: Axes, levels: FloatArray, grid: Grid, norm: BoundaryNorm, colours: Colormap) -> None:
    """Write each cell's level where there is room."""
    if not _has_numbers(place, grid):
        return
    fine = float(np.diff(norm.boundaries).min()) < 1.0  # else two colours would show one number
    for (row, column), level in ((at, one) for at, one in np.ndenumerate(levels) if not np.isnan(one)):
        silent = level <= SILENCE_DB
        red, green, blue, _ = colours(norm(max(level, norm.boundaries[0]))) if not silent else (1.0, 1.0, 1.0, 1.0)
        ink = INK if 0.3 * red + 0.59 * green + 0.11 * blue > 0.5 else PAPER
        words = (
            "none" if silent else level_words(level + 0.0, 1 if fine or abs(level) < 9.95 else 0).removesuffix(" dB")
        )
        x, y = float(grid.across[column]), float(grid.upward[row])
        place.text(x, y, words, fontsize=5.5, color=ink, ha="center", va="center", zorder=4)


def _has_numbers(place: Axes, grid: Grid) -> bool:
    """Whether cells are large enough for their level to be written in."""
    rows, columns = grid.points.shape
    return bool(place.bbox.width / columns >= NUMBERED_PX[0] and place.bbox.height / rows >= NUMBERED_PX[1])


def corner_of(grid: Grid, spot: Sequence[float], *, right: bool) -> list[float]:
    """The upper corner of the cell that a setting lies in, where a mark leaves its number free."""
    x, y = cell_edges(grid.across), cell_edges(grid.upward)
    column = int(np.clip(np.searchsorted(x, spot[0]) - 1, 0, len(x) - 2))
    row = int(np.clip(np.searchsorted(y, spot[1]) - 1, 0, len(y) - 2))
    return [float(x[column + int(right)]), float(y[row + 1])]


def _target(place: Axes, grid: Grid, sheet: Sheet) -> bool:
    """Draw the border of the settings that meet the target; says whether there are any."""
    met: BoolArray = np.nan_to_num(sheet.level_db[grid.points], nan=np.inf) <= 0.0
    for line in outline(met, cell_edges(grid.across), cell_edges(grid.upward)):
        place.plot(*line.T, color=PAPER, linewidth=3.2, zorder=3.2)
        place.plot(*line.T, color=TARGET_COLOUR, linewidth=1.6, linestyle=(0, (3, 1)), zorder=3.3)
    if not met.any():
        place.text(0.5, 1.02, "no setting meets the target", transform=place.transAxes, ha="center", fontsize=7.5)
    return bool(met.any())


def _limits(place: Axes, sweep: Sweep, found: Findings, grid: Grid) -> None:
    """Lines at settings worth one, numbered at their end; the scene as it stands and the best as marks."""
    plan = sweep.plan
    own: dict[int, float] = {}
    for limit in found.limits:
        if limit.axis not in grid.axes:
            continue
        value = float(plan.axes[limit.axis].in_unit(limit.value))
        if limit.words == NOW:
            own[limit.axis] = value
            continue
        line = place.axvline if limit.axis == grid.axes[0] else place.axhline
        line(value, color=PAPER, linewidth=2.6, zorder=2)
        line(value, color=INK, linewidth=1.1, linestyle=(0, (2, 2)), zorder=2.1)
    best = [float(plan.axes[number].in_unit(plan.values(found.best)[number])) for number in grid.axes]
    beside = _has_numbers(place, grid)
    spot = corner_of(grid, best, right=True) if beside else best
    place.plot(
        *spot, marker="*", markersize=9 if beside else 12, color=PAPER, markeredgecolor=INK, zorder=6, clip_on=False
    )
    if len(own) == 2:
        now = [own[number] for number in grid.axes]
        place.plot(
            *(corner_of(grid, now, right=False) if beside else now),
            marker="P",
            markersize=7 if beside else 9,
            color=PAPER,
            markeredgecolor=INK,
            zorder=5.9,
            clip_on=False,
        )


def _keys(figure: Figure, height: float, low: float, notes: Sequence[str], *, target_met: bool, beside: bool) -> None:
    best, now = ("best: cell to its lower left", f"{NOW}: cell to its lower right") if beside else ("best", NOW)
    entries = [
        Line2D([], [], color=INK, linewidth=1.8, label=f"as good as the best: early level within {EQUAL_DB:g} dB"),
        Line2D([], [], linestyle="none", marker="*", markersize=11, color=PAPER, markeredgecolor=INK, label=best),
        Line2D([], [], linestyle="none", marker="P", markersize=8, color=PAPER, markeredgecolor=INK, label=now),
    ]
    if any(note.startswith("line at") for note in notes):
        entries.append(Line2D([], [], color=INK, linewidth=1.1, linestyle=(0, (2, 2)), label="limits, see below"))
    if target_met:
        line = (0, (3, 1))
        entries.append(Line2D([], [], color=TARGET_COLOUR, linewidth=1.6, linestyle=line, label="target met inside"))
    figure.legend(
        handles=entries, loc="upper left", ncols=5, bbox_to_anchor=(0.05, low - 0.42 / height), handlelength=2.4
    )


def _notes(sweep: Sweep, found: Findings, grid: Grid) -> list[str]:
    axes = sweep.plan.axes
    lines: dict[str, list[str]] = {}
    for limit in found.limits:
        if limit.axis in grid.axes and limit.words != NOW:
            where = lines.setdefault(f"{axes[limit.axis].field}, {limit.words}", [])
            where.append(plain(axes[limit.axis], limit.value))
    notes = [f"line at {joined(where)}: {words}" for words, where in lines.items()]
    shown = [(sheet, sheet.level_db[grid.points]) for sheet in sheets(sweep, grid.points.ravel())]
    if any((levels <= SILENCE_DB).any() for _, levels in shown):
        notes.append("white: no first reflection arrives")
    if any(((levels > SILENCE_DB) & (levels < sheet.least_db)).any() for sheet, levels in shown):
        notes.append(f"what is more than {level_words(UNDER_TARGET_DB)} under the target has the lightest colour")
    states = sweep.state[grid.points]
    reasons: dict[str, int] = {}
    for point in grid.points[states == IMPOSSIBLE].tolist():
        reason = short_reason(sweep.reasons.get(point, ""))
        reasons[reason] = reasons.get(reason, 0) + 1
    for reason, count in sorted(reasons.items(), key=lambda entry: -entry[1])[:3]:
        notes += textwrap.wrap(f"hatched, impossible: {reason} ({count} settings)", 170)
    if len(reasons) > 3:
        notes.append("and other reasons, see sweep_summary.csv")
    if (states == OPEN).any():
        notes.append("dotted: not worked out yet")
    return notes
