"""The best settings of a sweep, as regions: what differs by less than anyone hears is called equal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.ndimage import label

from ..arrays import FloatArray, IntArray
from .sweep_records import DONE, Sweep

EQUAL_DB: Final = 0.5
"""Settings whose early levels differ by less are called equal (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Region:
    """Neighbouring settings that are as good as the best.

    Attributes
    ----------
    points
        How many settings it holds.
    ranges
        For every axis the least and the largest value in it, in metres, degrees or as they are.
    full
        Whether every combination inside these ranges belongs to it.
    ends
        For every axis whether the region reaches the least value, and the largest, and so may go on beyond.
    """

    points: int
    ranges: tuple[tuple[float, float], ...]
    full: bool
    ends: tuple[tuple[bool, bool], ...]


def merit_db(sweep: Sweep) -> FloatArray:
    """Early level (point,) of the louder loudspeaker, by which settings are judged; nan where a point is not done."""
    done = sweep.state == DONE
    merit = np.full(len(sweep.state), np.nan)
    merit[done] = sweep.figures.early_db[done].max(axis=1)
    return merit


def best_point(sweep: Sweep) -> int:
    """Number of the first point with the least early level, -1 if none is done."""
    merit = merit_db(sweep)
    return int(np.nanargmin(merit)) if np.isfinite(merit).any() else -1


def best_regions(sweep: Sweep) -> tuple[Region, ...]:
    """Regions of settings within 0.5 dB of the best, the one with the best setting first, then by size."""
    merit = merit_db(sweep)
    if not np.isfinite(merit).any():
        return ()
    best = best_point(sweep)
    as_good = np.nan_to_num(merit, nan=np.inf) <= merit[best] + EQUAL_DB
    numbers, count = label(sweep.on_grid(as_good))
    first = int(numbers.reshape(-1)[best])
    regions = {number: _region(sweep, np.flatnonzero(numbers.reshape(-1) == number)) for number in range(1, count + 1)}
    others = sorted((number for number in regions if number != first), key=lambda number: -regions[number].points)
    return tuple(regions[number] for number in (first, *others))


def _region(sweep: Sweep, points: IntArray) -> Region:
    plan = sweep.plan
    places = np.array([plan.places(int(point)) for point in points])
    ranges, ends, box = [], [], 1
    for number, axis in enumerate(plan.axes):
        low, high = int(places[:, number].min()), int(places[:, number].max())
        inside = axis.values[places[:, number]]
        ranges.append((float(inside.min()), float(inside.max())))
        ends.append((ranges[-1][0] == axis.values.min(), ranges[-1][1] == axis.values.max()))
        box *= high - low + 1
    full = plan.together or box == len(points)
    return Region(len(points), tuple(ranges), full, tuple(ends))
