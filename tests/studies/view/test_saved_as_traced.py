"""What was traced at rest is what is saved: the command reads it back, and traces nothing again."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import read_scene
from sim.errors import OutputError
from sim.machine.kernel_cache import kernel_folder
from sim.pipeline import trace
from sim.showing.archive.kept_traces import FRESH, key_of, trace_kept
from sim.studies.view.asking import Ask, Reply
from sim.studies.view.keeping import as_filed, file_bytes
from sim.studies.view.rest import Task, _answer, _Desk, _work_out
from sim.studies.view.state import State, base_of
from tests.studies.view.test_asking import Pipe
from tests.studies.view.test_at_rest import TEXT
from tests.studies.view.test_session import Pages
from tests.studies.view.view_cases import ROOM, room_file


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The folder of kept traces, new and empty."""
    kernel_folder()  # kernels stay where they are
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv(FRESH, raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    yield tmp_path / "cache" / "bounceplan" / "traces"


class Started:
    """Jobs that only say what they were asked for."""

    def __init__(self) -> None:
        self.began: list[tuple[State, str]] = []
        self.fault = ""

    def refuse(self, kind: str, *, busy: bool = False) -> None:
        if kind != "trace" or busy:
            raise OutputError("save: no.")

    def start(self, state: State, kind: str) -> None:
        if self.fault:
            raise OutputError(self.fault)
        self.began.append((state, kind))

    def stop(self) -> None:
        """Nothing is under way."""


@pytest.mark.parametrize("units", ["m", "cm", "mm", "in", "ft"])
def test_at_rest_the_scene_is_what_its_file_says(tmp_path: Path, units: str) -> None:
    """To the last bit, though a file has the digits of a tape: else the command would not find what was traced."""
    start = State(base_of(read_scene(room_file(tmp_path, in_unit(units)))))
    state = start.moved({"left.from_front": 0.6 + 0.0015875, "left.tilt": 3.1, "ear.up": 1.2125, "left.height": 1.03})
    filed = as_filed(state)
    (tmp_path / "kept.toml").write_bytes(file_bytes(state))
    assert key_of(filed, None, None) == key_of(read_scene(tmp_path / "kept.toml"), None, None)
    assert filed.digest == start.base.scene.digest
    for one, other in zip(filed.blueprint.loudspeakers, state.scene.blueprint.loudspeakers, strict=True):
        assert one.acoustic_axis.from_front == pytest.approx(other.acoustic_axis.from_front, abs=5e-6)
    assert as_filed(start) is start.base.scene


def in_unit(units: str) -> str:
    """The room with every length in metres said to be so, and its own unit changed."""
    text = re.sub(r"(?<![\w.\"-])(\d+\.\d+)(?![\w.\"])", r'"\1 m"', ROOM)
    return text.replace('units = "m"', f'units = "{units}"')


def test_saving_at_rest_keeps_the_trace_first_and_the_command_reads_it(place: Path, tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_text(TEXT)
    pages, jobs = Pages(tmp_path / "scene.toml"), Started()
    pages.session.requests.jobs = jobs  # type: ignore[assignment]
    pages.move(left__from_front=0.65)
    pages.say("save", what="trace")
    assert [what for _, what in jobs.began] == ["trace"], "nothing is known yet, so nothing is waited for"
    pages.session.settle()
    task, pipe = pages.tasks[-1], Pipe()
    assert isinstance(task, Task)
    desk = _Desk(pipe, task)  # type: ignore[arg-type]
    _work_out(desk)
    for found in pipe.sent:
        pages.session.take(found)
    pages.say("save", what="trace")
    ask = pages.tasks[-1]
    assert isinstance(ask, Ask) and ask.kind == "keep" and len(jobs.began) == 1 and not list(place.glob("*"))
    pages.say("save", what="trace")
    assert pages.refused()["words"] == "save: no.", "one at a time"
    pipe.sent.clear()
    desk.asks = [ask]
    _answer(desk)
    (reply,) = pipe.sent
    pages.told.clear()
    pages.session.take(reply)
    assert len(jobs.began) == 2 and pages.told == [], "pages are not bothered with it"
    assert len(list(place.glob("*.h5"))) == 1

    kept = tmp_path / "kept.toml"
    kept.write_bytes(pages.session.file())
    heard: list[str] = []
    read = trace_kept(kept, heard.append)
    assert heard == ["traced before, and nothing has changed"]
    anew = trace(kept)
    assert np.array_equal(read.responses.response.total, anew.responses.response.total)
    assert [one.worst_db for one in read.responses.arrivals] == [one.worst_db for one in anew.responses.arrivals]

    pipe.sent.clear()
    desk.task, desk.wanted, desk.results = task, True, None
    _work_out(desk)
    (again,) = pipe.sent
    before = pages.session.now
    assert again.whole and again.snapshot.fresh == before.fresh, "what is kept is shown at once"
    assert np.array_equal(again.snapshot.curve_db, before.curve_db)
    assert [one.key for one in again.snapshot.reflections] == [one.key for one in before.reflections]
    assert np.allclose(again.snapshot.beyond, before.beyond, atol=1e-12)
    assert np.array_equal(again.snapshot.over_time, before.over_time)
    assert [one.cure for one in again.snapshot.reflections] == [one.cure for one in before.reflections]


def test_saving_goes_on_when_the_trace_cannot_be_kept(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_text(TEXT)
    pages, jobs = Pages(tmp_path / "scene.toml"), Started()
    requests = pages.session.requests
    requests.jobs = jobs  # type: ignore[assignment]
    state = pages.session.history.now
    requests._saving = (state, "trace")
    pages.session.take(Reply(1, {"kind": "unanswered", "asked": "keep", "page": "", "words": "moved"}))
    assert jobs.began == [(state, "trace")]
    requests._saving = (state, "trace")
    jobs.fault = "the disk is full; make room."
    pages.told.clear()
    requests.save_now()
    assert pages.refused()["words"] == jobs.fault
    requests._saving = (state, "trace")
    pages.say("stop")
    requests.save_now()
    assert len(jobs.began) == 1, "stopped before it began"
