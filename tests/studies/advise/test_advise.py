"""Advice: what is tried is what can be, the first is the least effort that is better, and others say the same."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

import sim
from sim.blueprint.reader import parse_scene, read_scene
from sim.pipeline import trace_scene, trace_trial
from sim.placement.stops import TILT_LIMIT_DEG
from sim.responses.measure import SAME_DB, measure_of
from sim.studies.advise.advice import advise
from sim.studies.advise.records import EFFORTS, Advice, changed_scene
from sim.studies.advise.trials import settings_of
from tests.room_texts import room_text

LOW = {"left": (0.9, 1.2, 0.95), "right": (0.9, 2.8, 0.95)}
"""Tweeters well under the ear and level: common practice says to tilt them (no source)."""
QUICK = "[method]\norder = 1\nwaves_to_hz = 0\n"


def scene_text(more: str = "") -> str:
    text = room_text((4.0, 5.0, 2.6), (2.0, 2.0, 1.25), LOW, model="two-way", more=more)
    return text.replace("[[loudspeakers]]", '[[loudspeakers]]\ntoe_in_deg = "ear"')


@pytest.fixture(scope="module")
def advice() -> Iterator[Advice]:
    """Fewer amounts of each kind than people get, to be quick."""
    with pytest.MonkeyPatch.context() as few:
        for name in ("TURNS_DEG", "RAISED_M", "MOVED_M", "SEAT_M"):
            few.setattr(f"sim.studies.advise.trials.{name}", (-5.0, 5.0) if name == "TURNS_DEG" else (-0.10, 0.10))
        yield advise(parse_scene(scene_text(QUICK), Path("nowhere")))


def test_the_first_is_the_least_effort_that_is_better(advice: Advice) -> None:
    assert advice.first is not None
    better = [one for one in advice.lines if one.verdict == "better" and one.full]
    assert EFFORTS.index(advice.first.effort) == min(EFFORTS.index(one.effort) for one in better)
    assert advice.first.gain_db >= SAME_DB
    assert advice.headline().startswith(f"Do this first ({advice.first.effort}): {advice.first.words}, because ")
    assert advice.remains in advice.headline()
    assert sim.words(advice).replace("\n", " ").startswith(advice.headline())


def test_low_tweeters_are_tilted_up_at_the_ear(advice: Advice) -> None:
    """atan(0.30 / sqrt(1.1^2 + 0.8^2)) = 12.4 degrees from level (plane trigonometry)."""
    tilt = next(one for one in advice.lines if one.kind == "tilt")
    assert tilt.verdict == "better"
    aimed = [s.words for s in settings_of(advice.before) if s.words.endswith("(at the ear)")]
    assert aimed == ["tilt the monitors 12.4 degrees up (at the ear)"]


def test_what_is_said_is_what_a_trace_of_the_scene_gives(advice: Advice, tmp_path: Path) -> None:
    """The written scene, traced by anybody, has the measure that the advice told: never another number beside."""
    sim.save(advice, tmp_path / "advice")
    assert advice.first is not None
    for line, name in ((advice.first, "first"), (advice.together, "together")):
        if line is None:
            continue
        again = measure_of(trace_scene(read_scene(tmp_path / "advice" / name), maps=False))
        assert again.total_db == pytest.approx(line.measure.total_db, abs=1e-6)
        assert again.components == pytest.approx(line.measure.components, abs=1e-6)


def test_compare_says_the_same_of_the_first(advice: Advice) -> None:
    assert advice.first is not None
    scene = changed_scene(advice.scene, advice.first.settings)
    comparison = sim.compare([advice.before, trace_scene(scene, maps=False)])
    assert comparison.measures[1].total_db == pytest.approx(advice.first.measure.total_db, abs=1e-9)
    expected = f"measure: {advice.now.total_db:.1f} dB, then {advice.first.measure.total_db:.1f} dB"
    assert expected in comparison.improved[0]


def test_limits_of_the_scene_are_kept() -> None:
    text = scene_text(f'{QUICK}[treatment]\npanels = 2\nleave_bare = ["ceiling"]\n')
    results = trace_trial(parse_scene(text, Path("nowhere")))
    settings = settings_of(results)
    kinds = {one.kind for one in settings}
    assert "cloud" not in kinds
    assert {kind for kind in kinds if kind.startswith("panels")} == {"panels: 1 pair"}
    for one in settings:
        if one.kind == "tilt":
            made = one.make(results.scene.blueprint)
            assert all(abs(float(each.tilt_deg)) <= TILT_LIMIT_DEG for each in made.loudspeakers)


def test_left_and_right_stay_mirror_images(advice: Advice) -> None:
    for setting in settings_of(advice.before):
        if setting.kind.startswith(("panels", "cloud")):
            continue
        left, right = setting.make(advice.scene.blueprint).loudspeakers
        assert left.acoustic_axis.from_left + right.acoustic_axis.from_left == pytest.approx(4.0)
        assert left.tilt_deg == right.tilt_deg
        assert abs(left.roll_deg) == abs(right.roll_deg)


def test_every_row_has_the_components_in_one_order(advice: Advice) -> None:
    rows = advice.rows()
    assert rows[0]["what"] == "as it stands"
    assert len({tuple(row) for row in rows}) == 1
    assert len(rows) == 1 + len(advice.lines) + (advice.together is not None)
