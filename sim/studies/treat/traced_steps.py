"""Steps of a plan in order of what the measure says of each when it is traced; what gains too little is left out.

A step is never worth more than the one before it.  Where a trace says otherwise the two change places, and where that
does not help either, they are one step: the one is little without the other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from sim.responses.measure import measure_of
from sim.responses.records import Results
from sim.studies.treat.domain import Group

Part = tuple[Group, ...]
"""Groups of panels that make up one step."""
ROUNDING_DB = 1e-9


@dataclass(frozen=True)
class TracedSteps:
    """Steps in order of worth.

    Attributes
    ----------
    parts
        Groups of each step.
    gains_db
        By how much each lowers the measure after those before it; never rising.
    results
        The bare room, then the room with the first step, with the first two, and so on.
    """

    parts: tuple[Part, ...]
    gains_db: tuple[float, ...]
    results: tuple[Results, ...]


def trace_steps(parts: tuple[Part, ...], hung: Callable[[tuple[Part, ...]], Results], least_db: float) -> TracedSteps:
    """Trace steps one after the other and put them into order; `hung` traces the room with some of them.

    Steps at the end that lower the measure by less than `least_db` are left out.
    """
    known: dict[frozenset[Group], Results] = {}

    def traced(some: tuple[Part, ...]) -> Results:
        key = frozenset(group for part in some for group in part)
        if key not in known:
            known[key] = hung(some)
        return known[key]

    def totals(some: tuple[Part, ...]) -> list[float]:
        return [measure_of(traced(some[:count])).total_db for count in range(len(some) + 1)]

    def gains(some: tuple[Part, ...]) -> list[float]:
        found = totals(some)
        return [one - other for one, other in pairwise(found)]

    while (rise := _rise(gains(parts))) is not None:
        one, other = parts[rise], parts[rise + 1]
        swapped = (*parts[:rise], other, one, *parts[rise + 2 :])
        first, second = gains(swapped)[rise : rise + 2]
        merged = (*parts[:rise], one + other, *parts[rise + 2 :])
        parts = swapped if first >= second - ROUNDING_DB else merged
    worth = gains(parts)
    while parts and worth[-1] < least_db:
        parts = parts[:-1]
        worth = gains(parts)
    return TracedSteps(parts, tuple(worth), tuple(traced(parts[:count]) for count in range(len(parts) + 1)))


def _rise(worth: list[float]) -> int | None:
    """The first step after which one is worth more."""
    return next((n for n in range(len(worth) - 1) if worth[n + 1] > worth[n] + ROUNDING_DB), None)
