"""Which groups of panels to take: all combinations where these are few, else greedy and then exchanges.

Deterministic: ties go to the group that comes first.  The best choices are then refined (`refinement`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from sim.responses.measure import SAME_DB
from sim.studies.treat.domain import Group, PlacementDomain
from sim.studies.treat.refinement import LEAST_BETTER_DB, MOST_ROUNDS, Choice, preference_cost_db, refined_choice
from sim.studies.treat.scoring import Change, EarlyReflections
from sim.studies.treat.stock import Limits
from sim.studies.treat.surfaces import Rectangle

MOST_TRIALS: Final = 6_000
"""Up to this many combinations all are tried."""
LEAST_ALONE: Final = 0.03
"""A group that alone does less than this share of what the best one does is not tried."""
STARTS: Final = 6
REFINED: Final = 2
"""So many beginnings, and so many choices that are refined."""
EASIEST: Final = 2
MOST_EQUAL: Final = 3


class Searcher:
    """Tries groups against the early reflections; remembers what each panel changes."""

    def __init__(
        self, domain: PlacementDomain, reflections: EarlyReflections, limits: Limits, coverage: Callable[[Group], float]
    ) -> None:
        """Search on a domain within limits; `coverage` tells how much of the maps' energy a group covers."""
        self.domain = domain
        self.covered = coverage
        self.reflections = reflections
        self.limits = limits
        self.first_limits = limits
        self._changes: dict[tuple[int, Rectangle, int], Change] = {}
        self._clashes: dict[tuple[Group, Group], bool] = {}

    def changes(self, groups: Sequence[Group]) -> list[Change]:
        """What all panels of groups change."""
        found = []
        for group in groups:
            for spot in group.spots:
                key = (spot.surface, spot.rectangle, spot.stock)
                if key not in self._changes:
                    surface = self.domain.surfaces[spot.surface]
                    finish = self.domain.finishes[spot.stock][spot.surface]
                    corners = surface.corners_m(spot.rectangle)
                    self._changes[key] = self.reflections.change(surface.plane, surface.normal, finish, corners)
                found.append(self._changes[key])
        return found

    def score_db(self, groups: Sequence[Group]) -> float:
        """Score of groups with what they cost by habit."""
        return self.reflections.score_db(self.changes(groups)) + preference_cost_db(self.domain, groups)

    def used(self, groups: Sequence[Group]) -> tuple[int, ...]:
        """How many of each kind in stock groups use."""
        count = [0] * len(self.limits.available)
        for group in groups:
            for spot in group.spots:
                count[spot.stock] += 1
        return tuple(count)

    def fits(self, group: Group, others: Sequence[Group]) -> bool:
        """Whether a group is within the limits beside others and collides with none of them."""
        return self.limits.allow(self.used((*others, group))) and not self.clashes(group, others)

    def clashes(self, group: Group, others: Sequence[Group]) -> bool:
        """Whether a group collides with any of others."""
        for other in others:
            key = (group, other)
            if key not in self._clashes:
                self._clashes[key] = self._clashes[(other, group)] = self.domain.clash(group, [other])
            if self._clashes[key]:
                return True
        return False

    def best(self, pool: Sequence[Group]) -> Choice:
        """The best choice from a pool: among all combinations when few, else greedy and exchanged; not refined."""
        every = self._combinations(pool)
        if every is None:
            return self._several(pool)[0]
        choices = [Choice(groups, self.score_db(groups)) for groups in every]
        return min(choices, key=_rank)

    def plan(self, pool: Sequence[Group]) -> Choice:
        """The choice of `plan_and_equals` alone."""
        return self.plan_and_equals(pool)[0]

    def plan_and_equals(self, pool: Sequence[Group]) -> tuple[Choice, tuple[Choice, ...]]:
        """The plan, and others that are the same within the uncertainty of the physics.

        The best are refined.  Of those within `SAME_DB` of the best one the cheapest is taken, then what drills least,
        then what leaves most daylight, then the best.
        """
        useful = self.worth_trying(pool)
        every = self._combinations(useful)
        if every is None:
            choices = self._several(useful)
        else:
            choices = sorted((Choice(groups, self.score_db(groups)) for groups in every), key=_rank)
        kinds: dict[tuple[tuple[int, int, int], ...], Choice] = {}
        for choice in choices:
            if choice.score_db < choices[0].score_db + SAME_DB:
                kinds.setdefault(_kind(choice), choice)
        easiest = sorted(kinds.values(), key=lambda one: (self._trouble(one), _rank(one)))[:EASIEST]
        tried = dict.fromkeys([*choices[:REFINED], *easiest])
        refined = [refined_choice(self, choice) for choice in tried]
        least = min(choice.score_db for choice in refined)
        equal = [choice for choice in refined if choice.score_db < least + SAME_DB]
        taken = min(equal, key=lambda one: (self._trouble(one), _rank(one)))
        rest = {_kind(one): one for one in equal if _kind(one) != _kind(taken)}
        return taken, tuple(rest.values())[:MOST_EQUAL]

    def _trouble(self, choice: Choice) -> tuple[float, int, int, int]:
        """What decides between equal plans: price, panels, how many are drilled for, how many take daylight."""
        used = self.used(choice.groups)
        price = sum(n * price for n, price in zip(used, self.limits.prices, strict=True))
        movable = sum(group.movable for group in choice.groups)
        return round(price, 6), sum(used), sum(used) - movable, movable

    def worth_trying(self, pool: Sequence[Group]) -> list[Group]:
        """Groups that by themselves lower the score by a share of what the best one does, best first."""
        bare = self.reflections.score_db([])
        gains = [bare - self.reflections.score_db(self.changes((group,))) for group in pool]
        least = LEAST_ALONE * max(gains, default=0.0)
        order = sorted(range(len(pool)), key=lambda i: (-round(gains[i], 9), i))
        return [pool[i] for i in order if gains[i] > least]

    def _several(self, pool: Sequence[Group]) -> list[Choice]:
        """Greedy and exchanged choices from several beginnings, each once, best first."""
        starts: list[tuple[Group, ...]] = [()]
        starts += [(group,) for group in pool[:STARTS] if self.fits(group, ())]
        found: dict[frozenset[Group], Choice] = {}
        for start in starts:
            choice = self.exchanged(self.greedy(pool, start), pool)
            found.setdefault(frozenset(choice.groups), choice)
        return sorted(found.values(), key=_rank)

    def _combinations(self, pool: Sequence[Group]) -> list[tuple[Group, ...]] | None:
        """Every set of groups within the limits, the empty one too; None when there are too many."""
        found: list[tuple[Group, ...]] = []

        def grow(chosen: tuple[Group, ...], start: int) -> Iterator[tuple[Group, ...]]:
            yield chosen
            for i in range(start, len(pool)):
                if self.fits(pool[i], chosen):
                    yield from grow((*chosen, pool[i]), i + 1)

        for groups in grow((), 0):
            found.append(groups)
            if len(found) > MOST_TRIALS:
                return None
        return found

    def greedy(self, pool: Sequence[Group], start: tuple[Group, ...] = ()) -> Choice:
        """Take the group that lowers the score most for each panel, again and again, as long as one does."""
        chosen, score = start, self.score_db(start)
        while True:
            best: tuple[float, float, Group] | None = None
            for group in pool:
                if group in chosen or not self.fits(group, chosen):
                    continue
                now = self.score_db((*chosen, group))
                worth = (score - now) / len(group.spots)
                if score - now > LEAST_BETTER_DB and (best is None or worth > best[0] + 1e-9):
                    best = (worth, now, group)
            if best is None:
                return Choice(chosen, score)
            chosen, score = (*chosen, best[2]), best[1]

    def exchanged(self, choice: Choice, pool: Sequence[Group]) -> Choice:
        """Exchange one group at a time for another, and fill up what that leaves, until nothing is better."""
        for _ in range(MOST_ROUNDS):
            best = choice
            for i in range(len(choice.groups)):
                rest = choice.groups[:i] + choice.groups[i + 1 :]
                for group in pool:
                    if group in choice.groups or not self.fits(group, rest):
                        continue
                    tried = Choice((*rest, group), self.score_db((*rest, group)))
                    if tried.score_db < best.score_db - LEAST_BETTER_DB:
                        best = tried
            filled = self.greedy(pool, best.groups)
            if filled.score_db < best.score_db - LEAST_BETTER_DB:
                best = filled
            if best is choice:
                return choice
            choice = best
        return choice

    def in_order(self, choice: Choice) -> tuple[tuple[Group, ...], tuple[float, ...]]:
        """Groups in order of worth, and by how much each lowers the score after those before it, habits left out."""
        left = list(choice.groups)
        chosen: list[Group] = []
        gains: list[float] = []
        score = self.reflections.score_db([])
        while left:
            scores = [self.reflections.score_db(self.changes((*chosen, group))) for group in left]
            best = min(range(len(left)), key=lambda i: (round(scores[i], 9), i))
            gains.append(score - scores[best])
            score = scores[best]
            chosen.append(left.pop(best))
        return tuple(chosen), tuple(gains)

    def with_limits(self, limits: Limits) -> Searcher:
        """The same with other limits; what was worked out is kept."""
        other = Searcher(self.domain, self.reflections, limits, self.covered)
        other.first_limits = self.first_limits
        other._changes, other._clashes = self._changes, self._clashes
        return other

    def next_best(
        self, groups: Sequence[Group], pool: Sequence[Group], limits: Limits | None = None
    ) -> tuple[float, Group] | None:
        """What one more group would gain, and which; None when none is worth its trouble.

        Without `limits` as if there were none.
        """
        none = replace(self.limits, panels=10**6, budget=float("inf"), available=(10**6,) * len(self.limits.available))
        free = self.with_limits(none if limits is None else limits)
        score, with_preferences = self.reflections.score_db(self.changes(groups)), self.score_db(groups)
        tried = [
            (score - self.reflections.score_db(self.changes((*groups, group))), number)
            for number, group in enumerate(pool)
            if free.fits(group, groups) and self.score_db((*groups, group)) < with_preferences - LEAST_BETTER_DB
        ]
        if not tried:
            return None
        gain, number = max(tried, key=lambda each: (round(each[0], 9), -each[1]))
        return gain, pool[number]


def _kind(choice: Choice) -> tuple[tuple[int, int, int], ...]:
    """Which panels hang on which surfaces, wherever there: plans of one kind are one plan to a person."""
    spots = [spot for group in choice.groups for spot in group.spots]
    keys = [(spot.surface, spot.stock, int(spot.movable)) for spot in spots]
    return tuple(sorted(keys))


def _rank(choice: Choice) -> tuple[float, int]:
    return round(choice.score_db, 9), len(choice.groups)
