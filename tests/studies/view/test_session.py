"""A session: moves, what is in the way, typed nonsense, steps back, another file; its numbers are those of trace."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.blueprint.reader import read_scene
from sim.pipeline import trace_scene
from sim.responses.frequency import ear_response
from sim.responses.quick_curve import third_octave_db
from sim.studies.view import shown as shown_module
from sim.studies.view.frames import decoded
from sim.studies.view.lanes import first_response
from sim.studies.view.lanes import moving as moving_of
from sim.studies.view.rest import Found, Task, whole_snapshot
from sim.studies.view.scheme import joined
from sim.studies.view.session import Session
from tests.studies.view.view_cases import ROOM, room_file


class Pages:
    """What pages would be told and shown."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.told: list[dict[str, Any]] = []
        self.frames: list[bytes] = []
        self.tasks: list[Task | None] = []
        self.session = Session(read_scene(path), self.told.append, self.frames.append, self.tasks.append)

    def say(self, kind: str, **more: Any) -> dict[str, Any]:
        """Say something, and give the newest frame's text."""
        self.told.clear()
        assert self.session.act({"kind": kind, **more})
        return self.frame

    def move(self, done: bool = True, **values: float) -> dict[str, Any]:
        return self.say("move", values={name.replace("__", "."): one for name, one in values.items()}, done=done)

    @property
    def frame(self) -> dict[str, Any]:
        header, arrays = decoded(self.frames[-1])
        assert header["scheme"] == self.session.scheme.number
        return header | {"handles": joined(self.session.scheme.message["things"], arrays["placed"], arrays["told"])}

    def arrays(self) -> dict[str, np.ndarray]:
        return decoded(self.frames[-1])[1]

    def refused(self) -> dict[str, Any]:
        (one,) = [told for told in self.told if told["kind"] == "refused"]
        return one

    def value(self, name: str) -> float:
        fields = [field for thing in self.frame["handles"] for field in thing["fields"]]
        return next(field["value"] for field in fields if field["name"] == name)


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Pages:
    return Pages(room_file(tmp_path_factory.mktemp("room")))


@pytest.fixture
def pages(opened: Pages) -> Iterator[Pages]:
    """The session at its first setting."""
    yield opened
    while opened.session.history.undo():
        pass
    opened.session.history.forth.clear()
    opened.session._stand()
    opened.told.clear()


def test_what_is_computed_is_what_was_rounded(pages: Pages) -> None:
    frame = pages.move(left__from_front=0.6537)
    assert pages.value("left.from_front") == pytest.approx(0.655)
    assert pages.value("right.from_front") == pytest.approx(0.655)
    place = next(thing["at"] for thing in frame["handles"] if thing["name"] == "left")
    assert place[0] == pytest.approx(0.655)
    assert pages.session.history.now.scene.blueprint.loudspeakers[0].acoustic_axis.from_front == pytest.approx(0.655)


def test_a_released_drag_is_one_step(pages: Pages) -> None:
    for front in (0.63, 0.64, 0.65):
        assert pages.move(done=False, left__from_front=front)["undo"] == 0
    assert pages.say("move", values={}, done=True)["undo"] == 1
    assert pages.say("undo")["redo"] == 1
    assert pages.value("left.from_front") == pytest.approx(0.62)
    assert pages.session.file() == ROOM.encode()
    assert pages.say("redo")["undo"] == 1
    assert pages.value("left.from_front") == pytest.approx(0.65)


def test_what_is_in_the_way_stops_it_and_is_named(pages: Pages) -> None:
    pages.move(left__from_front=-0.4)
    assert 0.25 < pages.value("left.from_front") < 0.5, "it went as far as there was room"
    said = pages.refused()
    assert said["words"].endswith(".") and "left" in said["words"]
    assert said["things"]


@pytest.mark.parametrize("text", ["", "nonsense", "nan", "1e999", "12 parsecs", "-", "1,000 m", "9" * 70])
def test_typed_nonsense_is_one_sentence_and_moves_nothing(pages: Pages, text: str) -> None:
    before = pages.session.history.now
    pages.say("type", field="left.from_front", text=text)
    assert pages.refused()["words"].startswith("left.from_front")
    assert pages.session.history.now == before


@pytest.mark.parametrize(
    ("text", "metres"),
    [("0.66", 0.66), ("66 cm", 0.66), ("26 in", 0.6604), ("2 ft 2 in", 0.6604), (" 0.6531 ", 0.6531)],
)
def test_typed_lengths_are_taken_as_typed(pages: Pages, text: str, metres: float) -> None:
    pages.say("type", field="left.from_front", text=text)
    assert pages.value("left.from_front") == pytest.approx(metres)


def test_an_angle_is_typed_or_follows_the_ear(pages: Pages) -> None:
    pages.say("type", field="left.toe_in", text="\N{MINUS SIGN}5\N{DEGREE SIGN}")
    assert pages.value("left.toe_in") == -5.0
    pages.say("type", field="left.toe_in", text="ear")
    assert pages.session.file() == ROOM.encode()


def test_messages_that_make_no_sense_are_no_harm(pages: Pages) -> None:
    for message in (
        {"kind": "move", "values": {"left.from_front": "far"}},
        {"kind": "move", "values": {"left.from_front": float("nan")}},
        {"kind": "move", "values": {"nobody.x": 1}},
        {"kind": "move", "values": [1, 2]},
        {"kind": "move", "seq": "x"},
        {"kind": "octave", "band": "high"},
        {"kind": "octave", "band": 99},
        {"kind": "surface"},
        {"kind": "keep", "name": "../x"},
    ):
        assert pages.session.act(message)
    for message in ({}, {"kind": "_changed"}, {"kind": 5}, {"kind": "__init__"}, {"kind": "act"}):
        assert not pages.session.act(message)
    assert pages.session.file() == ROOM.encode()


def test_another_file_is_taken_when_asked_and_is_a_step(pages: Pages) -> None:
    pages.move(left__from_front=0.7)
    room_file(pages.path.parent, ROOM.replace("top = 0.74", "top = 0.72").replace("up = 1.02", "up = 1.00"))
    try:
        pages.say("again")
        assert pages.value("desk.height") == pytest.approx(0.72)
        assert pages.value("left.from_front") == pytest.approx(0.62)
        pages.say("undo")
        assert pages.value("left.from_front") == pytest.approx(0.7)
        room_file(pages.path.parent, ROOM.replace("top = 0.74", "top = 'high'"))
        pages.say("again")
        assert "top" in pages.refused()["words"]
        assert pages.value("left.from_front") == pytest.approx(0.7), "nothing is lost"
    finally:
        room_file(pages.path.parent)
        pages.session.history.back = [one for one in pages.session.history.back if one.base is pages.session.first]


def test_the_change_is_told_against_what_was_pinned(pages: Pages) -> None:
    pages.say("pin")
    same = {one["key"]: one["change"] for one in pages.frame["reflections"]}
    assert set(same.values()) == {0.0}
    frame = pages.move(left__tilt=15.0)
    desk = next(one for one in frame["reflections"] if one["via"] == "desk top" and one["speaker"] == 0)
    assert desk["change"] != 0.0
    assert frame["answer"].startswith(("Strongest is the", "Settle this first"))


def test_a_panel_slides_along_its_wall(pages: Pages) -> None:
    side = next(thing for thing in pages.frame["handles"] if thing["kind"] == "panel")
    assert {field["key"]: field["along"] for field in side["fields"]} == {"from_front": 0, "up": 2, "thickness": -1}
    pages.move(side__from_front=0.853, side__up=0.5)
    moved = next(thing for thing in pages.frame["handles"] if thing["kind"] == "panel")
    assert moved["at"][0] - side["at"][0] == pytest.approx(0.155, abs=1e-4)
    assert moved["at"][2] - side["at"][2] == pytest.approx(-0.1, abs=1e-4)
    pages.move(side__up=2.0)
    assert pages.refused()["words"]
    assert pages.value("side.up") < 1.4, "it stops under the ceiling"


def test_maps_of_another_octave_come_when_asked(pages: Pages) -> None:
    before = pages.arrays()["map0"].copy()
    frame = pages.say("octave", band=0)
    assert frame["band"] == 0
    assert (pages.arrays()["map0"] != before).any()
    pages.say("octave", band=-1)


def test_a_surface_says_what_it_does(pages: Pages) -> None:
    pages.say("surface", name="desk top")
    assert pages.told[-1]["words"].startswith("desk top: left: -")


def test_frames_are_plain_numbers(pages: Pages) -> None:
    text = json.dumps(pages.frame)
    assert "NaN" not in text and "Infinity" not in text
    assert len(pages.frames[-1]) < 8_000


def test_at_rest_a_frame_has_the_numbers_of_trace(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    """A random setting: the frame at rest against a trace of the variant that is kept of it, and what becomes old."""
    random = np.random.default_rng(7)
    pages.move(
        left__from_front=0.62 + random.uniform(-0.1, 0.1),
        left__from_left=0.95 + random.uniform(-0.1, 0.1),
        left__tilt=random.uniform(0, 8),
        ear__from_front=1.6 + random.uniform(-0.2, 0.2),
    )
    moving = pages.arrays()["curve"].copy()
    pages.session.settle()
    task = pages.tasks[-1]
    assert task is not None
    kept = pages.path.parent / "kept.toml"
    kept.write_bytes(pages.session.file())
    traced = trace_scene(read_scene(kept))
    kept.unlink()
    for one, other in zip(traced.built.loudspeakers, pages.session.frame.built.loudspeakers, strict=True):
        assert one.driver_points == pytest.approx(other.driver_points, abs=1e-5)
    found = Found(task.number, whole_snapshot(traced, task.number), "", True, 1.0)
    pages.session.take(found)
    levels = traced.responses.response.levels.whole_db[:, 0, 0]
    assert pages.arrays()["curve"] == pytest.approx(levels, abs=1e-5)
    assert pages.frame["fresh"] == dict.fromkeys(("reflections", "curve", "maps", "edges"), "now")
    listed = {(one["speaker"], one["via"], one["diffracted"]): one for one in pages.frame["reflections"]}
    names = [one.name for one in traced.built.loudspeakers]
    first = [one for one in traced.responses.arrivals if one.order == 1 and not one.diffracted]
    for arrival in first:
        shown = listed[names.index(arrival.loudspeaker), arrival.via, False]
        assert shown["worst"] == pytest.approx(arrival.worst_db, abs=0.051)
        assert shown["delay"] == pytest.approx(arrival.main.delay_ms, abs=0.0051)
    assert len(first) >= 8
    assert np.abs(moving - levels).max() > 0.05, "without edges it was another curve"

    mirrored = ear_response(traced.built, traced.paths).levels.whole_db[:, 0, 0]
    assert third_octave_db(*first_response(traced.built, traced.paths)) == pytest.approx(mirrored, abs=0.01)
    frame = moving_of(pages.session.frames.frame(task.scene.blueprint), 1, found.snapshot.beyond, True)
    assert frame.curve_db == pytest.approx(levels, abs=0.01), "what is beyond makes the frame whole again at its place"

    desk = max(one["worst"] for one in pages.frame["reflections"] if one["via"] == "desk top")
    pages.say("pin")
    frame = pages.move(left__from_front=pages.value("left.from_front") + 0.005)
    old = [one for one in frame["reflections"] if one["fresh"] == "old"]
    assert len(old) <= 2 * shown_module.ROWS_EACH, "only what the page lists"
    monkeypatch.setattr(shown_module, "ROWS_EACH", 99)
    frame = pages.move(left__from_front=pages.value("left.from_front") + 0.005)
    assert frame["fresh"]["curve"] == "old"
    assert max(one["worst"] for one in frame["reflections"] if one["via"] == "desk top") == pytest.approx(desk, abs=0.4)
    assert all(abs(one["change"] or 0.0) < 1.0 for one in frame["reflections"]), "like is held against like"
    diffracted = [one for one in frame["reflections"] if one["diffracted"]]
    assert diffracted and {one["fresh"] for one in diffracted} == {"old"}
    assert {one["fresh"] for one in frame["reflections"] if not one["diffracted"] and one["order"] == 1} == {"now"}
    pages.session.take(found)
    assert pages.frame["fresh"]["curve"] == "old", "what is found of an earlier setting is not taken"
