"""Questions about a setting at rest: the sentences of explain, worth and tables by the one measure."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from sim.blueprint.reader import parse_scene, read_scene
from sim.errors import SceneError
from sim.pipeline import trace_scene
from sim.responses.measure import COMPONENTS, changes_between, measure_of
from sim.responses.records import Results
from sim.studies.explain.measured import candidates
from sim.studies.explain.question import explain
from sim.studies.saving import answer_lines
from sim.studies.view import asking
from sim.studies.view.asking import Ask, Known, answered, compared_row, worth_words
from sim.studies.view.requests import STAND_STILL
from sim.studies.view.rest import MOVED, Found, NewerSettingError, Task, _answer, _Desk, whole_snapshot
from sim.studies.view.snapshot import key_of
from sim.studies.view.state import Base, State
from tests.room_texts import desk_text, room_text
from tests.studies.view.test_session import Pages

SIDE = """
[[panels]]
name = "side"
surface = "left wall"
from_front = [0.6, 1.6]
up = [0.6, 1.8]
material = "100 mm wool"
"""
TEXT = room_text((3.0, 4.0, 2.5), (1.6, 1.5, 1.2), {"left": (0.6, 0.9, 1.2), "right": (0.6, 2.1, 1.2)})
TEXT += "[method]\norder = 1\nwaves_to_hz = 0\n" + desk_text((0.85, 1.2), (0.7, 2.3), 0.74)


@pytest.fixture(scope="module")
def traced(tmp_path_factory: pytest.TempPathFactory) -> Results:
    path = tmp_path_factory.mktemp("asked") / "scene.toml"
    path.write_text(TEXT + SIDE)
    return trace_scene(read_scene(path))


@pytest.fixture(scope="module")
def bare(traced: Results) -> Results:
    return trace_scene(parse_scene(TEXT, traced.scene.folder), maps=False)


def asked(traced: Results, kind: str, known: Known | None = None, **about: object) -> dict:
    told = answered(Ask(3, kind, about, "me"), traced, known or Known(), lambda _: None)
    assert told["kind"] == kind and told["page"] == "me" and told["number"] == 3
    json.dumps(told, allow_nan=False)
    return told


def test_why_a_peak_is_there_is_said_as_explain_says_it(traced: Results) -> None:
    arrival = next(one for one in traced.responses.arrivals if one.loudspeaker == "right" and one.number == 1)
    told = asked(traced, "why", key=key_of(arrival))
    lines = answer_lines(explain(traced, 1, loudspeaker="right"))
    assert told["title"] == lines[1]
    assert sorted(one for one in told["lines"] if one) == sorted(one for one in lines[3:] if one)
    heads = [one for one in told["lines"] if one and not one.startswith(" ")]
    assert heads.index("What would remove it") == 1, "what would remove it comes right after the sentence"
    assert told["path"]["speaker"] == 1
    assert told["path"]["points"][-1] == pytest.approx([1.6, 1.5, 1.2])
    with pytest.raises(SceneError, match="not there any more"):
        asked(traced, "why", key="left|mirrored|nothing")


def test_a_dip_is_put_down_to_what_explain_puts_it_down_to(traced: Results) -> None:
    dips = [
        one for one in traced.responses.notches if one.loudspeaker == "left" and one.present and one.frequency_hz < 6000
    ]
    deepest = sorted(dips, key=lambda one: -one.depth_db)
    every = [(dip, candidates(traced, hz=round(dip.frequency_hz), loudspeaker="left")) for dip in deepest]
    dip, found = next((dip, found) for dip, found in every if any(one.number for one in found.found))
    near = [one for one in dips if 0.85 < one.frequency_hz / dip.frequency_hz < 1.18 and one is not dip]
    assert all(one.depth_db < dip.depth_db for one in near)
    told = asked(traced, "dip", hz=dip.frequency_hz * 1.02, speaker="left")
    first = next(one for one in found.found if one.number)
    assert told["lines"][0] == answer_lines(found)[2]
    assert told["path"]["via"] == first.cause
    assert "What would remove it" in told["lines"]
    assert not any("--peak" in line for line in told["lines"]), "the page has no command line"
    assert "path" not in asked(traced, "dip", hz=50.0, speaker="left"), "nothing is judged there"
    with pytest.raises(SceneError, match="hz"):
        asked(traced, "dip", hz=1e6, speaker="left")
    with pytest.raises(SceneError, match="nobody"):
        asked(traced, "dip", hz=500.0, speaker="nobody")


def test_a_panel_is_worth_what_the_measure_loses_without_it(traced: Results, bare: Results) -> None:
    known = Known()
    told = asked(traced, "worth", known, names=["side"])
    without, with_it = measure_of(bare), measure_of(traced)
    assert known.without[3, "side"].total_db == pytest.approx(without.total_db, abs=1e-9)
    assert told["words"] == worth_words("side", without, with_it)
    taken = (without.early_over_target_db - with_it.early_over_target_db).mean(axis=0)
    assert told["taken"] == pytest.approx(taken, abs=0.051)
    assert max(told["taken"]) > 0.5, "it hangs where the left wall reflects"
    assert len(told["octaves"]) == len(told["taken"])
    with pytest.raises(SceneError, match="no panel of this name"):
        asked(traced, "worth", names=["nobody"])


def test_worth_is_the_same_below_what_the_measure_can_tell(traced: Results, bare: Results) -> None:
    before, after = measure_of(bare), measure_of(traced)
    for total, words in ((0.9, "the same with and without it"), (-0.9, "the same"), (2.0, "worth 2.0 dB")):
        said = worth_words("side", replace(after, total_db=after.total_db + total), after)
        assert words in said
    assert "worse by 3.0 dB" in worth_words("side", before, replace(before, total_db=before.total_db + 3.0))


def test_variants_are_judged_in_the_words_of_compare(
    traced: Results, bare: Results, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(asking, "trace_kept", lambda scene, _: traced if scene.blueprint.panels else bare)
    for name, text in (("scene", TEXT + SIDE), ("bare", TEXT), ("other", TEXT.replace("depth = 4.0", "depth = 5.0"))):
        (tmp_path / f"{name}.toml").write_text(text)
    (tmp_path / "broken.toml").write_text("[room]\nbox = 5\n")
    here = replace(traced, scene=read_scene(tmp_path / "scene.toml"))
    files = [str(tmp_path / f"{name}.toml") for name in ("scene", "bare", "broken", "other", "gone")]
    known = Known()
    told = asked(here, "compare", known, files=files)
    rows = {row["name"]: row for row in told["rows"]}
    assert [row["name"] for row in told["rows"]][:2] == ["scene.toml", "as it stands here"]
    assert "broken.toml" in rows["broken.toml"]["fault"] and "gone" in rows["gone.toml"]["fault"]
    assert "of another floor plan" in rows["other.toml"]["fault"]
    first, other = measure_of(traced), measure_of(bare)
    changes = changes_between(first, other)
    assert rows["bare.toml"]["verdicts"] == [one.verdict for one in changes[: 1 + len(COMPONENTS)]]
    assert rows["bare.toml"]["values"][0] == pytest.approx(other.total_db, abs=0.051)
    assert set(rows["as it stands here"]["verdicts"]) == {"the same"}
    assert {words.partition(": ")[2] for words in rows["bare.toml"]["words"]} == {
        one.words for one in changes[1:] if one.verdict != "the same"
    }
    assert len(known.measures) == 2
    path = tmp_path / "bare.toml"
    path.write_text(TEXT + SIDE)
    os.utime(path, ns=(1, 1))
    again = {row["name"]: row for row in asked(here, "compare", known, files=files[:2])["rows"]}
    assert again["bare.toml"]["verdict"] == "the same", "a changed file is read again"


def test_less_than_the_uncertainty_is_the_same(traced: Results) -> None:
    measure = measure_of(traced)
    for by, verdict in ((0.9, "the same"), (-0.9, "the same"), (1.1, "worse"), (-1.1, "better")):
        row = compared_row("a", replace(measure, total_db=measure.total_db + by), measure)
        assert row["verdicts"][0] == verdict


class Pipe:
    """What the process at rest would send, and what comes in meanwhile."""

    def __init__(self, *coming: object) -> None:
        self.coming, self.sent = list(coming), []

    def poll(self) -> bool:
        return bool(self.coming)

    def recv(self) -> object:
        return self.coming.pop(0)

    def send(self, what: object) -> None:
        self.sent.append(what)


def test_a_question_about_what_has_moved_is_answered_so(traced: Results) -> None:
    ask = Ask(1, "worth", {"names": ["side"]}, "me")
    for desk in (
        _Desk(Pipe(), asks=[ask], number=2, results=traced),  # type: ignore[arg-type]
        _Desk(Pipe(Task(2, State(Base(traced.scene, b"")))), asks=[ask], number=1, results=traced),  # type: ignore[arg-type]
    ):
        _answer(desk)
        (reply,) = desk.pipe.sent  # type: ignore[attr-defined]
        assert reply.message == {"kind": "unanswered", "page": "me", "number": 1, "asked": "worth", "words": MOVED}
    assert desk.wanted, "the newer setting comes first"
    with pytest.raises(NewerSettingError):
        desk.go_on()


def test_questions_wait_for_a_setting_at_rest(tmp_path: Path, traced: Results) -> None:
    (tmp_path / "scene.toml").write_text(TEXT + SIDE)
    (tmp_path / "variant.toml").write_text(TEXT)
    pages = Pages(tmp_path / "scene.toml")
    pages.say("why", key="x", page="me")
    assert pages.told == [{"kind": "unanswered", "asked": "why", "page": "me", "words": STAND_STILL}]
    pages.session.settle()
    task = pages.tasks[-1]
    assert isinstance(task, Task)
    pages.session.take(Found(task.number, whole_snapshot(traced, task.number), "", True, 1.0))
    assert pages.arrays()["overTime"].shape[0] == 2
    for kind, about in (("why", {"key": "x"}), ("dip", {"hz": 500, "speaker": "left"}), ("worth", {"name": "side"})):
        pages.say(kind, **about)
        assert isinstance(pages.tasks[-1], Ask) and pages.tasks[-1].kind == kind
    pages.say("compare")
    ask = pages.tasks[-1]
    assert isinstance(ask, Ask)
    assert [Path(one).name for one in ask.about["files"]] == ["scene.toml", "variant.toml"]
    pages.say("dip", hz="low")
    assert "no frequency" in pages.refused()["words"]
    pages.move(left__from_front=0.65)
    pages.say("worth", name="side")
    assert pages.told[-1]["words"] == STAND_STILL


def test_what_a_panel_makes_worse_ends_with_one_full_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    stop = SimpleNamespace(words='new: STOP: say so with fixings = "...".', verdict="worse")
    monkeypatch.setattr(asking, "changes_between", lambda *_: [SimpleNamespace(verdict="better"), stop])
    words = asking.worth_words("panel", SimpleNamespace(total_db=12.4), SimpleNamespace(total_db=11.3))  # type: ignore[arg-type]
    assert words.endswith('say so with fixings = "...".')
