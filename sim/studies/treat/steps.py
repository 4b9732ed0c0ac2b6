"""A choice of panels as steps in order of priority and why it stops; left against right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim.blueprint.treatment import Target
from sim.errors import SceneError
from sim.showing.numbers import db_change
from sim.studies.treat.domain import Group, PlacementDomain
from sim.studies.treat.refinement import Choice, refined_choice
from sim.studies.treat.search import Searcher
from sim.studies.treat.stock import Limits

EQUAL_DB = 0.5
"""Below this left and right count as equal (our own choice)."""


def left_less_right_db(searcher: Searcher, groups: Sequence[Group]) -> float:
    """Early level of left loudspeakers less that of right ones, energies over the target's octaves."""
    energies = searcher.reflections.early(searcher.changes(groups)).mean(axis=1)
    sides = [one.side for one in searcher.domain.stage.loudspeakers]
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
    return (f"Left against right, early reflections that panels can reach: {words}.",)


def without_movable(groups: Sequence[Group]) -> tuple[Group, ...]:
    """The same groups, less their movable panels."""
    left = [replace(group, spots=tuple(spot for spot in group.spots if not spot.movable)) for group in groups]
    return tuple(group for group in left if group.spots)


def _difference(left_less_right: float) -> str:
    if abs(left_less_right) < EQUAL_DB:
        return f"equal within {EQUAL_DB:g} dB"
    side = "left" if left_less_right > 0.0 else "right"
    return f"{side} stronger by {db_change(left_less_right)}"


# A choice of panels as steps in order of worth, cut off where a further one is not worth it; and why it stops.


@dataclass(frozen=True)
class Steps:
    """Groups in order of worth, what each gains after those before it, why there are no more, and the same in short."""

    groups: tuple[Group, ...]
    gains_db: tuple[float, ...]
    stopped: str
    limit_words: str


def chosen_steps(searcher: Searcher, pool: Sequence[Group], target: Target, least_gain_db: float) -> Steps:
    """Search, put into order, and cut: at the step after which all is below the target, and before small gains.

    A plan whose last step gains too little is searched again with fewer panels, so that what is left is the best of
    its size.

    Raises
    ------
    SceneError
        If nothing that reaches the ear could be treated at all.
    """
    if not pool:
        raise SceneError(
            "treatment",
            "no wall, slope or ceiling that reflects sound to the head has room for a panel in stock",
            "put smaller or thinner panels into stock, or take names out of leave_bare",
        )
    while True:
        groups, gains = searcher.in_order(searcher.plan(pool))
        weak = next((i for i, gain in enumerate(gains) if gain < least_gain_db), None)
        if weak is None:
            break
        kept = sum(len(group.spots) for group in groups[:weak])
        if kept == 0:
            groups, gains = (), ()
            break
        fewer = min(kept, sum(len(group.spots) for group in groups) - 1)
        searcher = searcher.with_limits(replace(searcher.limits, panels=fewer))
    groups, gains = _filled_up(searcher.with_limits(searcher.first_limits), pool, groups, gains, least_gain_db)
    for count in range(len(groups) + 1):
        if searcher.reflections.worst_db(searcher.changes(groups[:count])) <= target.level_db:
            words = f"everything that panels can reach is below {target.level_db:.0f} dB"
            stopped = f"{words[0].upper()}{words[1:]}, all over the head box: nothing more is needed."
            return Steps(groups[:count], gains[:count], stopped, words)
    return _why_no_more(searcher, pool, groups, gains, least_gain_db)


def _filled_up(
    searcher: Searcher, pool: Sequence[Group], groups: tuple[Group, ...], gains: tuple[float, ...], least: float
) -> tuple[tuple[Group, ...], tuple[float, ...]]:
    """Add what is still worth it within the first limits, as long as every step stays worth its panels."""
    while True:
        further = searcher.next_best(groups, pool, searcher.limits)
        if further is None or further[0] < least:
            return groups, gains
        more = (*groups, further[1])
        ordered, worth = searcher.in_order(refined_choice(searcher, Choice(more, searcher.score_db(more))))
        if min(worth) < least:
            return groups, gains
        groups, gains = ordered, worth


def _why_no_more(
    searcher: Searcher, pool: Sequence[Group], groups: tuple[Group, ...], gains: tuple[float, ...], least: float
) -> Steps:
    further = searcher.next_best(groups, pool)
    asked = searcher.first_limits
    if further is None:
        words = "no further panel fits, or earns an awkward place"
        stopped = (
            "No further panel fits beside these, or it would reduce less than an awkward place costs: a ragged "
            "cloud, or "
            "one more surface to drill into."
        )
        return Steps(groups, gains, stopped, words)
    gain, group = further
    place = _place(searcher.domain, group)
    if gain < least:
        words = f"a further panel would take off {db_change(max(gain, 0.0))} at most"
        return Steps(groups, gains, f"Stop here: {words} ({place}), less than {least:g} dB.", words)
    words = _limit_in_words(asked, searcher.used(groups), searcher.used((group,)))
    return Steps(
        groups, gains, f"{_capital(words)}. {place[0].upper()}{place[1:]} would take off {db_change(gain)} more.", words
    )


def _limit_in_words(limits: Limits, used: tuple[int, ...], wanted: tuple[int, ...]) -> str:
    """Which limit does not let the wanted ones be added."""
    total, cost = sum(used), sum(n * price for n, price in zip(used, limits.prices, strict=True))
    if total + sum(wanted) > limits.panels:
        left = limits.panels - total
        return f"all {total} panels are used" if left == 0 else f"only {left} of {limits.panels} panels is left"
    if cost + sum(n * price for n, price in zip(wanted, limits.prices, strict=True)) > limits.budget + 1e-9:
        return f"the budget is used up: {cost:g} of {limits.budget:g}"
    return f"all {total} panels in stock are used"


def _place(domain: PlacementDomain, group: Group) -> str:
    names = list(dict.fromkeys(domain.surfaces[spot.surface].name for spot in group.spots))
    what = {"pair": "a further pair", "centred": "a further panel", "single": "a further panel"}[group.kind]
    return f"{what} on the {' and the '.join(names)}"


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]
