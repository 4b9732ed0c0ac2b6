"""Fine placing: chosen groups are moved a little as long as that lowers the score."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from .ground import Ground, Group
from .surfaces import Rectangle

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

    ground: Ground

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
    for step in (searcher.ground.grid_m, searcher.ground.step_m):
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
            group = searcher.ground.group_at(spot.surface, spot.stock, shifted(spot.rectangle, da, db))
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
