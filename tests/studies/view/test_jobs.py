"""Files of a setting: fixed names beside the scene, nothing replaced, one job at a time, stopped as Ctrl-C stops it."""

from __future__ import annotations

import queue
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from sim.blueprint.reader import read_scene
from sim.errors import BounceplanError
from sim.studies.view import jobs as jobs_module
from sim.studies.view.jobs import Jobs, News, free_name
from sim.studies.view.state import State, base_of
from tests.room_texts import room_text
from tests.studies.view.view_cases import room_file

BARE = room_text((3.0, 4.0, 2.5), (1.6, 1.5, 1.2), {"left": (0.6, 0.9, 1.2)}, more="[method]\norder = 1\n")
SAYS = "import sys; print('  ... tracing', file=sys.stderr); open(sys.argv[4], 'w').write('page')"
FAILS = "import sys; print('bounceplan: the disk is full; make room.', file=sys.stderr); sys.exit(2)"
WAITS = "import sys, time; print('  ... tracing', file=sys.stderr, flush=True); time.sleep(60)"


class House:
    """Jobs, and what was told of them."""

    def __init__(self) -> None:
        self.news: queue.Queue[News] = queue.Queue()
        self.jobs = Jobs(self.news.put)

    def until(self, *steps: str) -> dict:
        while True:
            message = self.news.get(timeout=60.0).message
            if message["step"] in steps:
                return message

    def end(self) -> dict:
        return self.until("done", "failed", "stopped")


@pytest.fixture
def house() -> Iterator[House]:
    made = House()
    yield made
    made.jobs.close()


@pytest.fixture
def start(tmp_path: Path) -> State:
    return State(base_of(read_scene(room_file(tmp_path, BARE))))


def stand_in(monkeypatch: pytest.MonkeyPatch, program: str) -> list[tuple[str, ...]]:
    """Run a little program in place of the command; what was asked for is noted."""
    asked: list[tuple[str, ...]] = []

    def command(*arguments: str) -> list[str]:
        asked.append(arguments)
        return [sys.executable, "-c", program, *arguments]

    monkeypatch.setattr(jobs_module, "own_command", command)
    return asked


def test_names_are_the_programs_and_nothing_is_replaced(
    house: House, start: State, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = stand_in(monkeypatch, SAYS)
    (tmp_path / "scene-live-1-trace").mkdir()
    house.jobs.start(start, "report")
    assert house.until("working")["words"].endswith("tracing")
    assert "scene-live-2.html" in house.end()["words"]
    assert (tmp_path / "scene-live-2.toml").read_bytes() == start.base.raw
    house.jobs.start(start, "report")
    house.end()
    moved = start.moved({"left.from_front": 0.7})
    house.jobs.start(moved, "drawings")
    house.end()
    places = [Path(one[3]).name for one in asked]
    assert places == ["scene-live-2.html", "scene-live-2.html", "scene-live-3-drawings"]
    assert [one[0] for one in asked] == ["report", "report", "sheets"]
    assert [one[4:] for one in asked] == [(), ("--replace",), ()], "only what was written from here is replaced"
    assert all(Path(one[1]).parent == tmp_path for one in asked)
    assert read_scene(tmp_path / "scene-live-3.toml").blueprint.loudspeakers[0].acoustic_axis.from_front == 0.7
    assert free_name(tmp_path / "scene-live-2.toml").name == "scene-live-4.toml"


def test_a_kept_file_that_somebody_changed_is_left_alone(
    house: House, start: State, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = stand_in(monkeypatch, SAYS)
    house.jobs.start(start, "report")
    house.end()
    (tmp_path / "scene-live-1.toml").write_text(BARE + "# mine\n")
    house.jobs.start(start, "report")
    house.end()
    assert Path(asked[-1][3]).name == "scene-live-2.html"
    assert (tmp_path / "scene-live-1.toml").read_text().endswith("# mine\n")


def test_a_fault_is_the_commands_own_sentence(house: House, start: State, monkeypatch: pytest.MonkeyPatch) -> None:
    stand_in(monkeypatch, FAILS)
    house.jobs.start(start, "trace")
    told = house.end()
    assert told["step"] == "failed" and told["words"] == "the disk is full; make room."
    assert not house.jobs.busy


def test_one_at_a_time_and_stopped_when_asked(house: House, start: State, monkeypatch: pytest.MonkeyPatch) -> None:
    stand_in(monkeypatch, WAITS)
    house.jobs.start(start, "trace")
    house.until("working")
    with pytest.raises(BounceplanError, match="being saved already"):
        house.jobs.start(start, "report")
    house.jobs.stop()
    assert house.end()["step"] == "stopped"
    house.jobs.start(start, "trace")
    house.until("working")
    house.jobs.close()
    assert house.end()["step"] == "stopped"
    house.jobs.stop()


@pytest.mark.parametrize("what", ["", "view", "/etc/passwd", "../report", "rm"])
def test_nothing_else_can_be_asked_for(house: House, start: State, tmp_path: Path, what: str) -> None:
    before = sorted(tmp_path.iterdir())
    with pytest.raises(BounceplanError, match="report, drawings or trace"):
        house.jobs.start(start, what)
    assert sorted(tmp_path.iterdir()) == before


def test_a_real_trace_that_is_stopped_leaves_nothing(house: House, start: State, tmp_path: Path) -> None:
    """The command itself, stopped in the middle: its folder is not there, nor anything it worked in."""
    house.jobs.start(start, "trace")
    house.until("working")
    house.jobs.stop()
    assert house.end()["step"] == "stopped"
    assert {one.name for one in tmp_path.iterdir()} == {"scene.toml", "scene-live-1.toml"}
