"""Chains of dimensions: from one end of a surface over every edge to the other end, in rows that do not overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..arrays import FloatArray
from .lengths import drawn_length
from .records import Dimension, Side

SHORTEST_M = 5e-4
"""Stops nearer to each other than this are one (tapes read to a millimetre)."""
Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Edges:
    """Things to be dimensioned along one direction: each from where to where, and the ends that tapes start from."""

    ends: Interval
    things: tuple[Interval, ...]


def rows_of(groups: Sequence[Edges]) -> list[list[float]]:
    """Stops of as few rows as needed: things that overlap without being equal stand in different rows."""
    rows: list[tuple[Interval, list[Interval]]] = []
    for group in groups:
        for thing in sorted({_rounded(thing) for thing in group.things}):
            for ends, placed in rows:
                if ends == group.ends and all(_apart(thing, other) for other in placed):
                    placed.append(thing)
                    break
            else:
                rows.append((group.ends, [thing]))
    return [_stops(ends, placed) for ends, placed in rows]


def chain(stops: Sequence[float], side: Side, row: int, bounds: FloatArray, unit: str) -> list[Dimension]:
    """Dimensions from stop to stop on one side of a drawing whose body reaches over bounds (2, 2), low then high."""
    across = side in ("below", "above")
    level = float({"below": bounds[0, 1], "above": bounds[1, 1], "left": bounds[0, 0], "right": bounds[1, 0]}[side])
    made = []
    for start, end in pairwise(stops):
        ends = [np.array([stop, level] if across else [level, stop]) for stop in (start, end)]
        made.append(Dimension(ends[0], ends[1], side, row, end - start, drawn_length(end - start, unit)))
    return made


def chains(
    groups: Sequence[Edges], side: Side, first_row: int, bounds: FloatArray, unit: str
) -> tuple[list[Dimension], int]:
    """All rows for some groups of things; also the next free row."""
    made: list[Dimension] = []
    for stops in rows_of(groups):
        made += chain(stops, side, first_row, bounds, unit)
        first_row += 1
    return made, first_row


def through(points: Sequence[float], ends: Interval) -> list[float]:
    """Stops from end to end over single points."""
    return _stops(ends, [(point, point) for point in points])


def _stops(ends: Interval, things: Sequence[Interval]) -> list[float]:
    wanted = sorted([*ends, *(stop for thing in things for stop in thing)])
    stops = [wanted[0]]
    for stop in wanted[1:]:
        if stop - stops[-1] > SHORTEST_M:
            stops.append(stop)
    return stops


def _rounded(thing: Interval) -> Interval:
    return (round(thing[0], 5), round(thing[1], 5))


def _apart(one: Interval, other: Interval) -> bool:
    return one[1] <= other[0] + SHORTEST_M or other[1] <= one[0] + SHORTEST_M
