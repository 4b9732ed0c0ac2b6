"""Questions asked of one room together, and what they say compared: they must not contradict each other.

Rooms are invented; what a rule of the trade leads one to expect is common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.text import Text

import sim
from sim.blueprint.reader import SceneFile, parse_scene
from sim.pipeline import trace_scene
from sim.responses.measure import SAME_DB, measure_of, verdict_of
from sim.responses.notches import LEAST_PART
from sim.responses.plan import Plan
from sim.responses.records import Results
from sim.showing.words import most_harmful, opening
from sim.studies.advise.trials import settings_of
from sim.studies.compare.many import compare_many
from sim.studies.orient.findings import find
from sim.studies.orient.picture import orientation_figure
from sim.studies.orient.study import OrientationStudy
from tests.room_texts import desk_text, room_text

QUICK = "[method]\norder = 1\nwaves_to_hz = 0\n"


def room(up: float, *, model: str = "two-way", desk: bool = False, more: str = "") -> SceneFile:
    """A pair over a desk or without one, axes at a height and level, the ear at 1.25 m."""
    low = {"left": (0.9, 1.2, up), "right": (0.9, 2.8, up)}
    top = desk_text((0.6, 1.5), (0.9, 3.1), 0.74) if desk else ""
    text = room_text((4.0, 5.0, 2.6), (2.0, 2.0, 1.25), low, model=model, more=top + QUICK + more)
    return parse_scene(text.replace("[[loudspeakers]]", '[[loudspeakers]]\ntoe_in_deg = "ear"'), Path("nowhere"))


@pytest.fixture(scope="module")
def plan() -> Plan:
    return sim.treat(room(1.25, model="point"), panels=3)


@pytest.fixture(scope="module")
def low() -> Results:
    return trace_scene(room(0.95), maps=False)


@pytest.fixture(scope="module")
def orientations(low: Results) -> OrientationStudy:
    return sim.orient(low.scene, "upright,left")


def test_compare_says_of_a_plan_what_the_plan_says(plan: Plan) -> None:
    before, after = (one.total_db for one in (plan.measures[0], plan.measures[-1]))
    assert plan.panels
    assert f"measure {before:.1f} dB before, {after:.1f} dB with them" in plan.headline()
    comparison = sim.compare([plan.before, plan.working])
    words = f"measure: {before:.1f} dB, then {after:.1f} dB"
    assert words in comparison.improved[0]
    assert sum({one.step: one.gain_db for one in plan.panels}.values()) == pytest.approx(before - after)
    text = " ".join(sim.words(plan).split())
    assert "reduction" not in text and "in the order of" not in text


def test_what_treat_sells_is_worth_a_look_beside_two_other_layouts(plan: Plan) -> None:
    """Panels cost, and still the bare room is not the only one in front."""
    worse = trace_scene(room(0.80, model="point"), maps=False)
    many = compare_many([plan.before, plan.working, worse])
    assert plan.measures[0].total_db - plan.measures[-1].total_db >= SAME_DB
    assert many.front[1]


def test_moving_the_first_dip_of_the_desk_down_is_worse_however_it_is_done() -> None:
    """Higher over the desk its reflection is longer: sqrt(d2 + (h + e)2) - sqrt(d2 + (h - e)2) grows with h.

    Plane trigonometry; common practice, no source, for the lower dip being the worse one.
    """
    near, high = (trace_scene(room(up, model="point", desk=True), maps=False) for up in (0.85, 1.25))
    dips = [measure_of(one).desk_dip_hz[0] for one in (near, high)]
    assert dips[1] < 0.5 * dips[0]
    comparison = sim.compare([near, high])
    worse = [words for words in comparison.worse[0] if words.startswith("first dip of the desk")]
    assert len(worse) == 1
    assert f"{dips[0]:.0f} Hz, then {dips[1]:.0f} Hz" in worse[0]


def test_orient_says_tilt_first_by_as_much_as_advise_tries(low: Results, orientations: OrientationStudy) -> None:
    """atan(0.30 / sqrt(1.1^2 + 0.8^2)) = 12.4 degrees (plane trigonometry)."""
    said = orientations.headline()
    assert said.startswith("Tilt first: upright, turned 12.4 degrees up to aim at the ear")
    assert any(one.words == "tilt the monitors 12.4 degrees up (at the ear)" for one in settings_of(low))
    now, aimed = orientations.measures[0], orientations.aimed[0]
    assert now is not None and aimed is not None
    assert aimed.total_db <= now.total_db - SAME_DB
    assert aimed.components["crossover"] == pytest.approx(0.0, abs=0.05)
    assert now.components["crossover"] == pytest.approx(measure_of(low).components["crossover"])


def test_the_picture_of_orient_shows_what_its_table_says(orientations: OrientationStudy) -> None:
    shown = " ".join(text.get_text() for text in orientation_figure(orientations, "left").findobj(Text))
    for spread in find(orientations)[0].whole_db:
        assert f"spread {spread:.1f} dB in the whole box" in shown
        assert f"{spread:.1f}" in sim.words(orientations)


def test_search_does_not_turn_the_ear_off_axis_and_is_as_good_as_the_best_of_a_sweep() -> None:
    scene = room(0.95)
    found = sim.search(scene, {"left.tilt": "-15:15"}, layouts=1, processes=1)
    best = found.layouts[0].measure
    assert best.components["crossover"] < 1.0
    swept = []
    for tilt in (-15.0, 0.0, 15.0):
        blueprint = scene.blueprint
        turned = tuple(one.model_copy(update={"tilt_deg": tilt}) for one in blueprint.loudspeakers)
        text = sim.trace(parse_scene(_text(blueprint.model_copy(update={"loudspeakers": turned})), Path("nowhere")))
        swept.append(measure_of(text).total_db)
    assert best.total_db < min(swept) + SAME_DB


def _text(blueprint: object) -> str:
    from sim.blueprint.writing import to_toml

    return to_toml(blueprint)  # type: ignore[arg-type]


def test_all_questions_judge_from_one_frequency(plan: Plan) -> None:
    study = sim.decay(plan.before.scene, most_rays=1024)
    lowest = plan.before.responses.transition_hz
    assert study.transition_hz == lowest
    for answer in (plan, plan.before):
        assert f"Below {lowest:.0f} Hz nothing is judged" in " ".join(sim.words(answer).split())
    assert min(study.octaves.lower_hz[study.judged]) >= lowest


def test_explain_never_cuts_a_monitor_nor_moves_a_desk_from_under_it(low: Results) -> None:
    results = trace_scene(room(1.10, desk=True), maps=False)
    bodies = {one.body for one in results.built.loudspeakers}
    mine = [one for one in results.responses.arrivals if one.loudspeaker == "left" and one.order > 0]
    for arrival in [one for one in mine if not one.diffracted][:6] + [one for one in mine if one.diffracted][:3]:
        explained = sim.explain(results, arrival.number, loudspeaker="left")
        assert not any(furnishing.owner in bodies for furnishing in explained.furnishings)
        if explained.edge is not None and any(owner in bodies for owner in arrival.owners):
            assert explained.edge.amount_m == 0.0


def test_a_dip_has_a_single_cause_only_if_that_explains_half_of_it(plan: Plan, low: Results) -> None:
    for results in (plan.before, plan.working, low):
        for notch in results.responses.notches:
            assert not notch.surface or notch.rise_db >= LEAST_PART * notch.depth_db or not notch.present
        text = sim.words(results)
        unnamed = [one for one in results.responses.notches if one.present and not one.surface]
        assert not unnamed or "no single cause" in text or len(unnamed) < len(results.responses.notches)


def test_trace_and_treat_open_with_the_same_sentence(plan: Plan) -> None:
    first = opening(plan.before)
    for answer in (plan, plan.before):
        assert first in " ".join(sim.words(answer).split())
    worst = most_harmful(plan.before)
    assert worst is not None and worst.via in first
    levels = [one.worst_db for one in plan.before.responses.arrivals if one.order > 0 and one.listener == "ear"]
    assert worst.worst_db == pytest.approx(max(levels))


def test_a_stand_that_tips_is_not_first_where_another_stands() -> None:
    found = sim.stand(["plate 150x150x980 10kg", "plate 400x500x700 40kg"], room(0.95), best=2)
    assert found.stacks[0].tips.least_deg >= 10.0 > found.stacks[1].tips.least_deg
    assert not found.headline().startswith("STOP")


def test_a_difference_under_the_uncertainty_is_the_same_everywhere(plan: Plan) -> None:
    """Plans that treat calls equal are the same to compare too: one limit for all."""
    assert verdict_of(10.0, 10.0 - 0.9 * SAME_DB) == "the same"
    gains = {one.step: one.gain_db for one in plan.panels}
    assert all(verdict_of(10.0, 10.0 - gain) == "better" for gain in gains.values())
    assert np.all(np.diff(list(gains.values())) <= 0.0)
