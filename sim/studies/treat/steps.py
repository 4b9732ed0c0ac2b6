"""A choice of panels as steps in order of priority and why it stops; left against right; plans that are equal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from sim.blueprint.treatment import Target
from sim.errors import SceneError
from sim.responses.measure import COMPONENTS, Measure, measure_of
from sim.responses.records import Results
from sim.studies.treat.domain import Group, PlacementDomain
from sim.studies.treat.refinement import Choice, refined_choice
from sim.studies.treat.search import Searcher
from sim.studies.treat.stock import Limits


def side_advice(before: Measure, working: Measure, parked: Measure | None) -> tuple[str, ...]:
    """One sentence on left and right, in the component of the measure."""
    words, unit = COMPONENTS["left_right"]
    found = [("as it is", before), ("with all panels", working), ("with movable panels away", parked)]
    reported = [f"{one.components['left_right']:.1f} {unit} {when}" for when, one in found if one is not None]
    return (f"{words[0].upper()}{words[1:]}: {'; '.join(reported)}.",)


# A choice of panels as steps in order of worth, cut off where a further one is not worth it; and why it stops.


@dataclass(frozen=True)
class Steps:
    """Groups in order of worth and what each gains after those before it, as the search sees it.

    `stopped` says why there are no more, `limit_words` the same in short; `further` is what would come next; `equal`
    names plans that are the same within the uncertainty.
    """

    groups: tuple[Group, ...]
    gains_db: tuple[float, ...]
    stopped: str
    limit_words: str
    further: Group | None = None
    equal: tuple[str, ...] = ()


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
    equal: tuple[str, ...] = ()
    while True:
        choice, others = searcher.plan_and_equals(pool)
        groups, gains = searcher.in_order(choice)
        equal = tuple(dict.fromkeys(equal_words(searcher.domain, other.groups) for other in others))
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
            return Steps(groups[:count], gains[:count], stopped, words, None, equal * (count == len(groups)))
    return replace(_why_no_more(searcher, pool, groups, gains, least_gain_db), equal=equal)


def equal_words(domain: PlacementDomain, groups: Sequence[Group]) -> str:
    """A plan in a few words: "2 x panel on the left wall and the right wall; 1 x panel on the ceiling"."""
    if not groups:
        return "no panel at all"
    said: dict[str, int] = {}
    for group in groups:
        names = dict.fromkeys(domain.surfaces[spot.surface].name for spot in group.spots)
        on = f"{domain.stock[group.spots[0].stock].record.name} on the {' and the '.join(names)}"
        said[on] = said.get(on, 0) + len(group.spots)
    return "; ".join(f"{count} x {on}" for on, count in said.items())


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
        words = f"a further panel would lower the measure by less than {least:g} dB"
        return Steps(groups, gains, f"Stop here: {words} ({place}).", words)
    words = _limit_in_words(asked, searcher.used(groups), searcher.used((group,)))
    return Steps(groups, gains, f"{_capital(words)}. {_capital(place)} would come next.", words, group)


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


# Steps in order of what the measure says of each when it is traced; what gains too little is left out.
#
# A step is never worth more than the one before it.  Where a trace says otherwise the two change places, and where that
# does not help either, they are one step: the one is little without the other.

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
