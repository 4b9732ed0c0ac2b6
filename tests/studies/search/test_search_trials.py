from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.blueprint.treatment import Target
from sim.layouts.figures import layout_figures, surface_names
from sim.placement.built_scene import build_scene
from sim.studies.search.search import plan_search
from sim.studies.search.trials import BROKEN, FLOOR_DB, IMPOSSIBLE, merit_of, try_layout
from tests.studies.little_room import little_room
from tests.studies.search.analytic import VARY, Analytic


def test_merit_by_hand() -> None:
    scene = little_room()
    task = plan_search(scene, VARY)
    built = build_scene(scene.blueprint, scene.folder)
    figures = layout_figures(built, Target(), task.plan.bands, surface_names(built))
    made = replace(figures, early_db=np.array([-6.0, -9.0]), over_target_db=np.array([5.0, -np.inf]))
    # strongest -10 and nothing, which counts as the floor of -40; early -6 and -9, 3 dB apart
    assert merit_of(made, -15.0) == pytest.approx(((-10.0 - 6.0) / 2 + (FLOOR_DB - 9.0) / 2) / 2 + 1.5)


def test_settings_are_whole_millimetres_and_ends_stay() -> None:
    trials = Analytic(lambda u, v: u + v).trials
    assert trials.settings(np.array([0.0, 1.0])) == (1.0, 0.8)
    assert trials.settings(np.array([0.123456, 0.987654])) == (1.049, 0.795)
    assert trials.settings(np.array([-0.2, 1.2])) == (1.0, 0.8)


def test_each_layout_is_worked_out_once() -> None:
    asked: list[tuple[float, float]] = []
    one = Analytic(lambda u, v: asked.append((u, v)) or u)
    one.trials.tried([np.array([0.5, 0.5]), np.array([0.5001, 0.5]), np.array([0.2, 0.5])])
    one.trials.tried([np.array([0.5, 0.5])])
    assert len(asked) == len(one.trials.all) == 2


def test_allowed_comes_before_broken_and_broken_before_impossible_with_a_slope_in_each() -> None:
    one = Analytic(lambda u, v: 50.0 * u, lambda u, v: max(v - 0.5, 0.0), lambda u, v: v > 0.8)
    trials = one.trials
    fractions = [np.array(pair) for pair in ((1.0, 0.2), (0.0, 0.6), (0.0, 0.7), (0.0, 0.9), (0.0, 1.0))]
    ranks = [trials.rank(trial) for trial in trials.tried(fractions)]
    assert ranks == sorted(ranks)
    assert ranks[0] == pytest.approx(50.0)
    assert BROKEN < ranks[1] < ranks[2] < IMPOSSIBLE < ranks[3] < ranks[4]


def test_a_layout_that_cannot_be_tells_why() -> None:
    scene = little_room()
    task = plan_search(scene, {"left.from_left": "-1.0:1.5"})
    trial = try_layout(task, (-0.5,))
    assert "outside the room" in trial.reason
    assert not trial.allowed
    assert np.isnan(trial.merit_db)
    assert try_layout(task, (1.1,)).allowed
