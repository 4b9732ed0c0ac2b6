"""Fine placing, and what builders and users prefer when it costs next to nothing.

Sets of panels that differ by less than this in what they remove are as good as equal; a plan then takes the one that
is easier to build and to live with.  All values are common practice, no source: what a designer would give up of the
measure for it.  Against what is called the same (`SAME_DB`) most are small, so that they settle ties.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from sim.placement.stops import OVERHEAD_M
from sim.responses.measure import SAME_DB
from sim.studies.treat.domain import Group, PlacementDomain
from sim.studies.treat.surfaces import Rectangle

MOVABLE_COST_DB: Final = 0.1
"""For each panel that has to be moved away in everyday use."""
LYING_COST_DB: Final = 0.1
"""For each panel that lies on a wall: upright ones suit more ear heights and stand by themselves."""
HIGH_COST_DB: Final = 0.1
"""For each panel on a wall that reaches over heads and so needs rated fixings and a tether."""
SURFACE_COST_DB: Final = 0.25
"""For each surface that gets panels: one more to drill into, or one more frame to stand up."""
RAGGED_COST_DB: Final = 3.0 * SAME_DB
"""For each surface on which near panels do not make up one rectangle, such as a cloud on one frame.  Not small: panels
at odd places on one ceiling need a frame and a tether each and look like a mistake, so nobody builds them for less than
what compares as plainly better, three times what is called the same."""
NEAR_M: Final = 0.30
SAME_M: Final = 1e-4


def preference_cost_db(domain: PlacementDomain, groups: Sequence[Group]) -> float:
    """What a set of groups costs besides what it removes."""
    spots = [spot for group in groups for spot in group.spots]
    cost = MOVABLE_COST_DB * sum(spot.movable for spot in spots)
    on_surface: dict[int, list[Rectangle]] = {}
    for spot in spots:
        a0, b0, a1, b1 = spot.rectangle
        if domain.surfaces[spot.surface].kind == "wall":
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


# Fine placing: chosen groups are moved a little as long as that lowers the score.

MOST_ROUNDS: Final = 40
LEAST_BETTER_DB: Final = 1e-6
LEAST_COVERAGE: Final = 0.99
"""Of the map energy that a group covered before it was moved."""


@dataclass(frozen=True)
class Choice:
    """Groups that were chosen, and their score in dB with what they cost by habit."""

    groups: tuple[Group, ...]
    score_db: float


class Trials(Protocol):
    """What refinement needs of a search."""

    domain: PlacementDomain

    def score_db(self, groups: Sequence[Group]) -> float:
        """Score of groups with what they cost by habit."""

    def clashes(self, group: Group, others: Sequence[Group]) -> bool:
        """Whether a group collides with any of others."""

    def covered(self, group: Group) -> float:
        """Map energy that a group covers."""


def refined_choice(searcher: Trials, choice: Choice) -> Choice:
    """Move groups along and up their surfaces, coarse and then fine, as long as the score falls.

    Groups move one by one, and all of one surface together.  None may move so far that it covers much less of
    what reaches the head box than where it was: a gain that only interference brings would not last.
    """
    floor = [LEAST_COVERAGE * searcher.covered(group) for group in choice.groups]
    for step in (searcher.domain.grid_m, searcher.domain.step_m):
        for _ in range(MOST_ROUNDS):
            before = choice.score_db
            for moving in _moving(choice):
                choice = _moved(searcher, choice, moving, step, floor)
            if choice.score_db > before - LEAST_BETTER_DB:
                break
    return choice


def _moving(choice: Choice) -> list[tuple[int, ...]]:
    """Which groups move at once."""
    alone = [(i,) for i in range(len(choice.groups))]
    by_surface: dict[int, list[int]] = {}
    for i, group in enumerate(choice.groups):
        by_surface.setdefault(group.spots[0].surface, []).append(i)
    return alone + [tuple(numbers) for numbers in by_surface.values() if len(numbers) > 1]


def _moved(searcher: Trials, choice: Choice, moving: tuple[int, ...], step: float, floor: Sequence[float]) -> Choice:
    """The best of the four neighbouring places of some groups, or where they are."""
    best = choice
    for da, db in ((step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)):
        groups = list(choice.groups)
        for i in moving:
            spot = groups[i].spots[0]
            group = searcher.domain.group_at(spot.surface, spot.stock, shifted(spot.rectangle, da, db))
            if group is None or len(group.spots) != len(groups[i].spots) or searcher.covered(group) < floor[i]:
                break
            groups[i] = group
        else:
            if any(searcher.clashes(groups[i], [g for j, g in enumerate(groups) if j != i]) for i in moving):
                continue
            tried = Choice(tuple(groups), searcher.score_db(groups))
            if tried.score_db < best.score_db - LEAST_BETTER_DB:
                best = tried
    return best


def shifted(rectangle: Rectangle, da: float, db: float) -> Rectangle:
    """A rectangle moved along and up."""
    a0, b0, a1, b1 = rectangle
    return (round(a0 + da, 6), round(b0 + db, 6), round(a1 + da, 6), round(b1 + db, 6))
