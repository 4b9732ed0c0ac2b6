from __future__ import annotations

import pytest

from sim.blueprint.reader import parse_scene, read_scene
from sim.blueprint.writing import to_toml
from sim.errors import SceneError
from sim.placement.built_scene import build_scene
from sim.studies.treat.plan import plan_treatment
from tests.studies.treat.planned import SCENES, changed, quick_trace, small_room

PRICED = [{"name": "panel", "size": [0.6, 1.2], "price": 80.0}]


def scene_of(tmp_path, **more):
    text = to_toml(small_room(**more))
    return parse_scene(text, tmp_path)


def silent(_: str) -> None:
    return None


def test_one_panel_at_a_time_is_never_worth_more_than_two(tmp_path) -> None:
    plans = [plan_treatment(scene_of(tmp_path), quick_trace, silent, panels=n) for n in (2, 4)]
    assert len(plans[0].panels) <= 2
    totals = [plan.measures[-1].total_db for plan in plans]
    assert totals[1] < totals[0] or len(plans[1].panels) == len(plans[0].panels)


def test_a_budget_is_kept(tmp_path) -> None:
    scene = scene_of(tmp_path, treatment={"stock": PRICED, "budget": 250.0, "currency": "units"})
    plan = plan_treatment(scene, quick_trace, silent)
    assert sum(one.panel.price for one in plan.panels) <= 250.0
    assert "budget" in plan.stopped or "Stop here" in plan.stopped


def test_it_stops_when_all_is_below_the_target(tmp_path) -> None:
    scene = scene_of(tmp_path, target={"level_db": -0.5, "window_ms": [0, 20], "band_hz": [1000, 8000]})
    plan = plan_treatment(scene, quick_trace, silent)
    assert plan.panels == ()
    assert "nothing more is needed" in plan.stopped
    assert plan.working is plan.before


def test_it_stops_when_a_further_panel_gains_too_little(tmp_path) -> None:
    scene = scene_of(tmp_path, treatment={"least_gain_db": 6.0}, target={"weights": {"early": 0.1}})
    plan = plan_treatment(scene, quick_trace, silent)
    assert plan.panels == ()
    assert plan.stopped.startswith("Stop here: a further panel would lower the measure by less than 6 dB")


def test_treated_scenes_pass_every_check_and_keep_their_unit(tmp_path) -> None:
    scene = read_scene(SCENES / "bedroom-on-desk")
    plan = plan_treatment(scene, quick_trace, silent)
    again = parse_scene(to_toml(plan.working.scene.blueprint), scene.folder)
    built = build_scene(again.blueprint, scene.folder)
    assert [panel.name for panel in built.panels] == [one.panel.name for one in plan.panels]
    assert built.warnings == ()
    assert plan.working.scene.blueprint.units == scene.blueprint.units
    assert plan.working.scene.digest != scene.digest
    assert {one.step for one in plan.panels} == set(range(1, len(plan.measures)))


def test_panels_that_hang_already_stay(tmp_path) -> None:
    there = {
        "name": "old",
        "surface": "left wall",
        "from_front": [1.0, 1.6],
        "up": [0.6, 1.8],
        "material": "50 mm wool",
    }
    plan = plan_treatment(scene_of(tmp_path, panels=[there]), quick_trace, silent, panels=3)
    names = [panel.name for panel in plan.working.built.panels]
    assert names[0] == "old"
    assert len(names) == 1 + len(plan.panels)


def test_inches_give_edges_on_half_inches(tmp_path) -> None:
    scene = scene_of(tmp_path, treatment={"stock": [{"name": "two by four", "size": [0.6096, 1.2192]}]})
    scene = changed(scene)
    inches = scene.blueprint.model_copy(update={"units": "in"})
    plan = plan_treatment(type(scene)(**{**vars(scene), "blueprint": inches}), quick_trace, silent, panels=2)
    low = plan.panels[0].panel.from_front or plan.panels[0].panel.from_left
    assert low[0] / 0.0127 == pytest.approx(round(low[0] / 0.0127), abs=0.02)
    assert plan.working.scene.blueprint.units == "in"


def test_nothing_to_treat_is_said_in_one_sentence(tmp_path) -> None:
    scene = scene_of(tmp_path, treatment={"stock": [{"name": "hall", "size": [5.0, 5.0]}]})
    with pytest.raises(SceneError, match="has room for a panel"):
        plan_treatment(scene, quick_trace, silent)
