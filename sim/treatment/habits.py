"""What builders and users would rather have when it costs next to nothing: each habit as a cost in dB.

Sets of panels that differ by less than this in what they remove are as good as equal; a plan then takes the one that
is easier to build and to live with.  All values are our own choice, as small as the model's own errors.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from ..placement.stops import OVERHEAD_M
from .ground import Ground, Group
from .surfaces import Rectangle

MOVABLE_COST_DB: Final = 0.1
"""For each panel that has to be moved away in everyday use."""
LYING_COST_DB: Final = 0.1
"""For each panel that lies on a wall: upright ones suit more ear heights and stand by themselves."""
HIGH_COST_DB: Final = 0.1
"""For each panel on a wall that reaches over heads and so needs rated fixings and a tether."""
SURFACE_COST_DB: Final = 0.25
"""For each surface that gets panels: one more to drill into, or one more frame to stand up."""
RAGGED_COST_DB: Final = 1.0
"""For each surface on which near panels do not make up one rectangle, such as a cloud on one frame."""
NEAR_M: Final = 0.30
SAME_M: Final = 1e-4


def habits_cost_db(ground: Ground, groups: Sequence[Group]) -> float:
    """What a set of groups costs besides what it removes."""
    spots = [spot for group in groups for spot in group.spots]
    cost = MOVABLE_COST_DB * sum(spot.movable for spot in spots)
    on_surface: dict[int, list[Rectangle]] = {}
    for spot in spots:
        a0, b0, a1, b1 = spot.rectangle
        if ground.surfaces[spot.surface].kind == "wall":
            cost += LYING_COST_DB * (a1 - a0 > b1 - b0 + SAME_M) + HIGH_COST_DB * (b1 > OVERHEAD_M)
        on_surface.setdefault(spot.surface, []).append(spot.rectangle)
    cost += SURFACE_COST_DB * len(on_surface)
    return cost + RAGGED_COST_DB * sum(is_ragged(rectangles) for rectangles in on_surface.values())


def is_ragged(rectangles: Sequence[Rectangle]) -> bool:
    """Whether any rectangles that are near each other do not fill one rectangle together."""
    left = list(rectangles)
    while left:
        cluster = [left.pop()]
        grown = True
        while grown:
            near = [other for other in left if any(_gap_m(one, other) < NEAR_M for one in cluster)]
            grown = bool(near)
            cluster += near
            left = [other for other in left if other not in near]
        low_a, low_b = min(r[0] for r in cluster), min(r[1] for r in cluster)
        high_a, high_b = max(r[2] for r in cluster), max(r[3] for r in cluster)
        filled = sum((r[2] - r[0]) * (r[3] - r[1]) for r in cluster)
        if abs((high_a - low_a) * (high_b - low_b) - filled) > SAME_M:
            return True
    return False


def _gap_m(one: Rectangle, other: Rectangle) -> float:
    """Larger of the gaps along and up; zero or less for rectangles that touch or overlap."""
    return max(max(one[0], other[0]) - min(one[2], other[2]), max(one[1], other[1]) - min(one[3], other[3]))
