"""A panel that is tried, against one that is written into the scene and traced."""

from __future__ import annotations

import numpy as np
import pytest

from sim.studies.explain.explanation import explain
from tests.explained import PANEL, POINT, TWO_WAY, number_of, traced


def test_a_tried_panel_does_what_it_does_when_it_hangs() -> None:
    results = traced(POINT)
    explained = explain(results, number=number_of(results, "ceiling"))
    (trial,) = explained.panels
    low, high = trial.corners.min(axis=0), trial.corners.max(axis=0)
    for place, tried in enumerate(trial.trials[:2]):
        panel = (
            f'\n[[panels]]\nname = "tried"\nsurface = "ceiling"\nmaterial = "{tried.material}"\nfixings = "screws"\n'
            f"from_front = [{low[0]:.9f}, {high[0]:.9f}]\nfrom_left = [{low[1]:.9f}, {high[1]:.9f}]\n"
        )
        hung = traced(POINT + panel)
        number = number_of(hung, "ceiling (tried)")
        arrival = next(a for a in hung.responses.arrivals if a.number == number)
        assert arrival.level_db == pytest.approx(tried.left_db, abs=0.01), place


def test_size_holds_the_first_zone_of_the_whole_head_box_by_hand() -> None:
    """Ceiling bounce: c/1000 d1 d2/(d1 + d2) under the root, over cos t along the way, and the spread of the points."""
    results = traced(POINT)
    (trial,) = explain(results, number=number_of(results, "ceiling")).panels
    source, ear = np.array([0.5, 1.0, 1.1]), np.array([1.9, 1.6, 1.2])
    lows, highs = [], []
    for depth in (-0.1, 0.1):
        for across in (-0.1, 0.1):
            for up in (-0.05, 0.05):
                seat = ear + np.array([depth, across, up])
                fraction = (2.4 - source[2]) / ((2.4 - source[2]) + (2.4 - seat[2]))
                lows.append((source + fraction * (seat - source))[[1, 0]])
                highs.append(lows[-1])
    whole = np.linalg.norm([1.4, 0.6, 2.5])
    ahead, aside = 1.3 / 2.5 * whole, 1.2 / 2.5 * whole
    across_m = np.sqrt(results.built.air.speed_of_sound_m_s / 1000.0 * ahead * aside / whole)
    along_m = across_m * whole / 2.5
    inward = np.array([0.6, 1.4]) / np.hypot(0.6, 1.4)
    reach = np.hypot(along_m * inward, across_m * inward[::-1])
    assert trial.size_m == pytest.approx(np.ptp([*lows, *highs], axis=0) + 2.0 * reach, abs=1e-6)
    assert trial.overhead and trial.off_surface_m == 0.0


def test_what_is_in_its_place_is_said() -> None:
    results = traced(TWO_WAY)
    explained = explain(results, "left", "ear", number_of(results, "ceiling"))
    assert explained.panels[0].in_the_way == ("the ceiling lamp",)
    window = explain(results, "left", "ear", number_of(results, "window"))
    assert window.panels[0].in_the_way == ("the window",)
    assert not window.panels[0].overhead


def test_where_panels_hang_they_are_changed_and_a_floor_gets_a_rug() -> None:
    results = traced(POINT + PANEL)
    explained = explain(results, number=number_of(results, "left wall (side panel)"))
    assert explained.panels[0].kind == "thicker"
    same = next(trial for trial in explained.panels[0].trials if trial.material == "100 mm wool")
    assert same.left_db == pytest.approx(explained.arrival.level_db, abs=1e-3), "shares are interpolated between knots"
    floors = [
        a.number for a in results.responses.arrivals if a.surfaces and a.surfaces[0] == "floor" and not a.diffracted
    ]
    rug = explain(results, number=floors[0]).panels[0]
    assert rug.kind == "rug" and [trial.material for trial in rug.trials] == ["carpet on felt"]


def test_the_thinnest_that_is_enough_is_suggested() -> None:
    results = traced(TWO_WAY)
    limit = results.scene.blueprint.target.level_db
    seen = set()
    for number in range(1, 14):
        explained = explain(results, "left", "ear", number)
        for trial in explained.panels:
            worst = [float(one.left_db[explained.judged].max()) for one in trial.trials]
            seen.add(trial.enough)
            if trial.enough:
                assert worst[trial.suggested] <= limit and all(w > limit for w in worst[: trial.suggested])
            else:
                assert worst[trial.suggested] == min(worst) > limit
    assert True in seen
