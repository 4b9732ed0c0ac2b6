"""Left against right: what early sound differs by before, with every panel, and with movable ones away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .ground import Group
from .search import Searcher

EQUAL_DB = 0.5
"""Below this left and right count as equal (our own choice)."""


def left_less_right_db(searcher: Searcher, groups: Sequence[Group]) -> float:
    """Early level of left loudspeakers less that of right ones, energies over the target's octaves."""
    energies = searcher.reflections.early(searcher.changes(groups)).mean(axis=1)
    sides = [one.side for one in searcher.ground.stage.loudspeakers]
    left = np.mean([e for e, side in zip(energies, sides, strict=True) if side == "left"])
    right = np.mean([e for e, side in zip(energies, sides, strict=True) if side == "right"])
    if not (left > 0.0 and right > 0.0):
        return 0.0
    return float(10.0 * np.log10(left / right))


def side_advice(searcher: Searcher, groups: Sequence[Group], parked: bool) -> tuple[str, ...]:
    """One sentence on left and right."""
    found = [("as it is", left_less_right_db(searcher, ())), ("with all panels", left_less_right_db(searcher, groups))]
    if parked:
        found.append(("with movable panels away", left_less_right_db(searcher, without_movable(groups))))
    words = "; ".join(f"{_difference(value)} {when}" for when, value in found)
    return (f"Left against right, early sound that panels can reach: {words}.",)


def without_movable(groups: Sequence[Group]) -> tuple[Group, ...]:
    """The same groups, less their movable panels."""
    left = [replace(group, spots=tuple(spot for spot in group.spots if not spot.movable)) for group in groups]
    return tuple(group for group in left if group.spots)


def _difference(left_less_right: float) -> str:
    if abs(left_less_right) < EQUAL_DB:
        return f"equal within {EQUAL_DB:g} dB"
    side = "left" if left_less_right > 0.0 else "right"
    return f"{side} stronger by {abs(left_less_right):.1f} dB"
