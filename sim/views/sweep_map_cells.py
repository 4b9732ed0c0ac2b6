"""The cells of a sweep's map: which point each is, where its edges are, classes of colour, and outlines of regions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import matplotlib
import numpy as np
from matplotlib.colors import Colormap, ListedColormap

from ..acoustics.decibels import SILENCE_DB
from ..arrays import BoolArray, FloatArray, IntArray
from ..studies.sweep_records import Sweep
from ..studies.sweep_regions import EQUAL_DB, best_point
from .style import PAPER, SURFACE

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
