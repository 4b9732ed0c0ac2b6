from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.placement.built_scene import build_scene
from sim.responses.measure import SAME_DB
from sim.studies.treat import search
from sim.studies.treat.hanging import panel_records, treated_blueprint
from sim.studies.treat.refinement import preference_cost_db
from sim.studies.treat.scoring import BELOW_TARGET
from tests.studies.treat.planned import NOWHERE, searcher_of, small_room
from tests.studies.treat.test_scoring import slow_energies

ADDED_UP_DB = 0.5
"""0.40 dB of 21.1 dB are met: the coupling of a panel is taken as if it lay about the reflection point."""


@pytest.fixture(scope="module")
def small():
    blueprint = small_room()
    built = build_scene(blueprint, NOWHERE)
    searcher, pool = searcher_of(built, blueprint, panels=4)
    return blueprint, searcher, pool


def brute_force_db(blueprint, searcher, groups) -> float:
    """Score of groups from a built scene that is built with their panels, path by path."""
    domain = searcher.domain
    records = [panel for made in panel_records(domain, groups) for panel in made]
    built = build_scene(treated_blueprint(blueprint, records, "treated"), NOWHERE)
    planes = [surface.plane for surface in domain.surfaces]
    energies = slow_energies(built, blueprint.target, planes, searcher.reflections.bands)
    places, target = 2 * len(searcher.reflections._built.ears), blueprint.target
    over = sum(np.maximum(10.0 * np.log10(e) - target.level_db, 0.0).mean() for _, e in energies) / places
    level = 10.0 * np.log10(sum(e.sum() for _, e in energies) / places / len(searcher.reflections.bands))
    return float(target.weights.early * over + BELOW_TARGET * level + preference_cost_db(domain, groups))


def test_the_best_of_a_small_pool_is_that_of_brute_force(small) -> None:
    blueprint, searcher, pool = small
    few = searcher.worth_trying(pool)[:7]
    sets = []
    for count in range(3):
        for groups in itertools.combinations(few, count):
            panels = sum(len(group.spots) for group in groups)
            if panels <= 4 and not any(searcher.domain.clash(a, [b]) for a, b in itertools.combinations(groups, 2)):
                sets.append(groups)
    scores = [brute_force_db(blueprint, searcher, groups) for groups in sets]
    limited = searcher.with_limits(replace(searcher.limits, panels=4))
    best = limited.best(few)
    # the search takes the coupling of a panel as if it lay about the reflection point, the built scene does not: each
    # of some twenty ways may be off by a few hundredths of a decibel, and the score adds them up
    if len(best.groups) <= 2:
        assert best.score_db == pytest.approx(min(scores), abs=ADDED_UP_DB)
    assert best.score_db <= min(scores) + ADDED_UP_DB
    assert best.score_db == pytest.approx(brute_force_db(blueprint, searcher, best.groups), abs=ADDED_UP_DB)


@given(st.sets(st.integers(0, 40), min_size=3, max_size=9), st.integers(2, 5))
@settings(max_examples=15)
def test_exchanging_never_does_worse_than_greedy_and_all_never_worse_than_exchanging(small, numbers, panels) -> None:
    _, searcher, pool = small
    few = [pool[i % len(pool)] for i in sorted(numbers)]
    few = list(dict.fromkeys(few))
    limited = searcher.with_limits(replace(searcher.limits, panels=panels))
    greedy = limited.greedy(few)
    exchanged = limited.exchanged(greedy, few)
    every = limited.best(few)
    assert exchanged.score_db <= greedy.score_db + 1e-9
    assert every.score_db <= exchanged.score_db + 1e-9
    assert sum(len(group.spots) for group in every.groups) <= panels


def test_with_many_places_it_is_still_near_the_best(small, monkeypatch) -> None:
    _, searcher, pool = small
    few = searcher.worth_trying(pool)[:12]
    limited = searcher.with_limits(replace(searcher.limits, panels=4))
    every = limited.best(few)
    monkeypatch.setattr(search, "MOST_TRIALS", 0)
    assert limited.best(few).score_db <= every.score_db + 0.1


def test_refining_only_improves_and_stays_possible(small) -> None:
    _, searcher, pool = small
    plain = searcher.best(pool[:10])
    refined = searcher.plan(pool[:10])
    assert refined.score_db <= plain.score_db + 1e-9
    for i, group in enumerate(refined.groups):
        assert not searcher.clashes(group, refined.groups[:i])
        assert all(searcher.domain.rule_at(s.surface, s.stock, s.rectangle) != "no" for s in group.spots)


def test_the_same_question_has_the_same_answer(small) -> None:
    _, searcher, pool = small
    assert searcher.plan(pool[:10]) == searcher.plan(pool[:10])


def test_gains_of_steps_add_up(small) -> None:
    _, searcher, pool = small
    groups, gains = searcher.in_order(searcher.plan(pool[:10]))
    after = searcher.reflections.score_db(searcher.changes(groups))
    assert sum(gains) == pytest.approx(searcher.reflections.score_db([]) - after)


def test_of_equal_plans_the_one_with_least_trouble_is_taken(small) -> None:
    _, searcher, pool = small
    taken, others = searcher.plan_and_equals(pool[:10])
    for other in others:
        assert abs(other.score_db - taken.score_db) < 2.0 * SAME_DB
        assert searcher._trouble(taken) <= searcher._trouble(other)
