"""Commands run together on one invented room: what they say is held against each other (common practice, no source)."""

from __future__ import annotations

from pathlib import Path

import pytest

import sim
from sim.blueprint.reader import read_scene
from sim.pipeline import trace_scene
from sim.responses.measure import changes_between, measure_of
from sim.showing.words import near_misses

SCENES = Path(__file__).resolve().parents[2] / "scenes"
DESK, STANDS = SCENES / "bedroom-on-desk", SCENES / "bedroom-on-stands"


@pytest.fixture(scope="module")
def comparison() -> sim.Comparison:
    return sim.compare([trace_scene(read_scene(scene), order=1, maps=False) for scene in (DESK, STANDS)])


def test_compare_says_that_the_dip_of_the_desk_moves_down(comparison: sim.Comparison) -> None:
    """Stands move the first dip of the desk from above 1 kHz to below it: that is worse, whatever else is better."""
    before, after = comparison.measures
    assert after.desk_dip_hz[0] < 0.7 * before.desk_dip_hz[0]
    assert any(words.startswith("first dip of the desk: ") for words in comparison.worse[0])


def test_compare_says_how_much_a_wall_is_hidden_as_trace_does(comparison: sim.Comparison) -> None:
    """A wall hidden by 2 cm is fragile for trace and for compare."""
    traced = next(
        words for words in near_misses(comparison.layouts[0], "left", "ear") if words.startswith("right wall")
    )
    hidden = next(one.why_not[0] for one in comparison.surfaces if one.surface == "right wall")
    assert traced.partition("by 2.")[2][:1] == hidden.partition("by 2.")[2][:1] != ""
    assert traced.endswith(": fragile") and hidden.endswith(": fragile")


def test_search_and_compare_judge_a_layout_alike_and_check_finds_it_on_its_support(tmp_path: Path) -> None:
    """What search calls best has, for compare, the measure that search told; it does not hover; it aims at the ear."""
    scene = sim.change(DESK, {"method.order": 1, "method.waves_to_hz": 400.0})
    found = sim.search(scene, {"left.height": "1.02:1.22", "left.tilt": "-12:12"}, layouts=1, seed=3, processes=1)
    best = found.layouts[0]
    layout = found.scene(best)
    comparison = sim.compare([scene, layout])
    assert comparison.measures[1].total_db == pytest.approx(best.measure.total_db, abs=1e-9)
    assert found.measure is not None
    assert comparison.measures[0].total_db == pytest.approx(found.measure.total_db, abs=1e-9)
    assert best.measure.hindrances == (), "nothing hovers, tips or is hidden"
    assert best.measure.crossover_loss_db.max() <= found.measure.crossover_loss_db.max()
    told = [one.words for one in changes_between(found.measure, best.measure) if one.verdict == "better"]
    assert set(told) <= set(comparison.improved[0])


def test_tilted_on_the_desk_can_equal_stands(comparison: sim.Comparison) -> None:
    """Monitors that stay on the desk, aimed at the ear, are no worse by the measure than monitors on stands."""
    tilted = sim.change(DESK, {"left.tilt": -9.4})
    measure = measure_of(trace_scene(tilted, order=1, maps=False))
    assert measure.total_db <= comparison.measures[1].total_db + 1.0
