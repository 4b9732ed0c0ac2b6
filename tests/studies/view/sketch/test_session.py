"""What a page asks for: typing, dragging, steps back and forth, and a file that is never written over blindly."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from sim.blueprint.reader import read_scene
from sim.errors import BounceplanError, SceneError
from sim.studies.view.sketch.serving import page_text, place_of
from sim.studies.view.sketch.session import Session
from tests.studies.view.sketch.sketch_cases import FILE, file_in


class Told(list[Any]):
    """What a session said."""

    def last(self, kind: str) -> Any:
        return next(one for one in reversed(self) if one["kind"] == kind)


@pytest.fixture
def told() -> Told:
    return Told()


@pytest.fixture
def fresh(tmp_path: Path, told: Told) -> Session:
    return Session(tmp_path / "attic" / "scene.toml", told.append)


def test_a_new_room_is_written_where_it_was_asked_for(fresh: Session, told: Told) -> None:
    assert not fresh.path.parent.exists()
    fresh.act({"kind": "set", "name": "width", "text": "3.41 m"})
    fresh.act({"kind": "save"})
    assert told.last("saved")["words"].startswith("Wrote scene.toml. Next, in the terminal: bounceplan check ")
    assert told.last("room")["saved"] is True
    scene = read_scene(fresh.path)
    assert scene.blueprint.room.box is not None and scene.blueprint.room.box.width == 3.41
    assert [item.name for item in fresh.path.parent.iterdir()] == ["scene.toml"]


def test_typed_nonsense_keeps_the_last_room_and_is_not_written(fresh: Session, told: Told) -> None:
    fresh.act({"kind": "set", "name": "width", "text": "3.6"})
    fresh.act({"kind": "set", "name": "width", "text": "wide"})
    room = told.last("room")
    assert room["texts"]["width"] == "wide"
    assert '"wide" is not a length' in room["faults"]["width"]
    assert max(corner[1] for corner in room["drawing"]["corners"]) == 3.6
    fresh.act({"kind": "save"})
    assert "Nothing was written: a field is not right yet" in told.last("refused")["words"]
    assert not fresh.path.exists()
    fresh.act({"kind": "undo"})
    assert told.last("room")["faults"] == {}


def test_a_drag_is_one_step_back(fresh: Session, told: Told) -> None:
    for front in (4.3, 4.4, 4.5):
        fresh.act({"kind": "move", "values": {"corner.2.front": front, "corner.2.left": 3.4}, "seq": 1, "page": "a"})
    fresh.act({"kind": "move", "values": {}, "done": True})
    assert told.last("room")["texts"]["depth"] == "4.5"
    assert told.last("room")["undo"] == 1
    fresh.act({"kind": "undo"})
    assert told.last("room")["texts"]["depth"] == "4.2"
    fresh.act({"kind": "redo"})
    assert told.last("room")["texts"]["depth"] == "4.5"


def test_a_file_opened_and_saved_is_the_same_file(tmp_path: Path, told: Told) -> None:
    session = Session(file_in(tmp_path), told.append)
    assert session.message()["saved"] is True
    session.act({"kind": "set", "name": "seat.front", "text": "1.7"})
    assert told.last("room")["saved"] is False
    session.act({"kind": "undo"})
    assert told.last("room")["saved"] is True
    session.act({"kind": "save"})
    assert session.path.read_bytes() == FILE.encode()


def test_a_file_changed_by_other_hands_is_not_written_over(tmp_path: Path, told: Told) -> None:
    session = Session(file_in(tmp_path), told.append)
    session.act({"kind": "set", "name": "seat.front", "text": "1.7"})
    other = FILE.replace('"Den"', '"Den two"')
    session.path.write_bytes(other.encode())
    session.act({"kind": "save"})
    assert "was changed by other hands" in told.last("refused")["words"]
    assert session.path.read_bytes() == other.encode()
    session.act({"kind": "save", "name": "mine"})
    assert "from_front = 1.7" in (tmp_path / "mine.toml").read_text()
    session.act({"kind": "save", "name": "mine"})
    assert "mine.toml is there already" in told.last("refused")["words"]
    session.act({"kind": "read"})
    assert told.last("room")["texts"]["title"] == "Den two"
    session.act({"kind": "undo"})
    assert told.last("room")["texts"]["seat.front"] == "1.7"


def test_a_file_that_came_meanwhile_is_not_written_over(fresh: Session, told: Told) -> None:
    fresh.path.parent.mkdir()
    fresh.path.write_text("mine")
    fresh.act({"kind": "save"})
    assert "was changed by other hands" in told.last("refused")["words"]
    assert fresh.path.read_text() == "mine"


@pytest.mark.parametrize("name", ["../out", "a/b", "", ".hidden", "con\x00", "x" * 200])
def test_no_name_leads_out_of_the_folder(fresh: Session, told: Told, tmp_path: Path, name: str) -> None:
    fresh.act({"kind": "save", "name": name or "../"})
    assert told.last("refused")["words"]
    assert list(tmp_path.rglob("*.toml")) == []


@pytest.mark.parametrize(
    "message",
    [
        {"kind": "set", "name": "colour", "text": "red"},
        {"kind": "set", "name": "units", "text": "yards"},
        {"kind": "set", "name": "shape", "text": "round"},
        {"kind": "set", "name": "corners.7.front", "text": "1"},
        {"kind": "set", "name": "loudspeakers.0.name", "text": "1"},
        {"kind": "set", "name": "loudspeakers.0.front\n", "text": "1"},
        {"kind": "move", "values": {"corner.1.front": "far"}},
        {"kind": "move", "values": {"corner.1.front": True}},
        {"kind": "add", "what": "sofa"},
        {"kind": "remove", "what": "corners", "number": 2},
        {"kind": "remove", "what": "openings", "number": "all"},
        {"kind": "split", "number": 99},
        {"kind": "trace", "corners": [[0, 0], [1, "x"], [2, 2]]},
        {"kind": "trace", "corners": "all"},
        {"kind": "read"},
    ],
)
def test_what_no_page_asks_is_refused_in_one_sentence(fresh: Session, told: Told, message: dict[str, Any]) -> None:
    before = fresh.form
    assert fresh.act(message)
    assert told.last("refused")["words"].endswith(".")
    assert fresh.form == before and not fresh.history.back


def test_there_is_nothing_else_to_ask(fresh: Session) -> None:
    assert not fresh.act({"kind": "act"})
    assert not fresh.act({"kind": "__init__"})
    assert not fresh.act({})


def test_a_distance_is_read_as_lengths_are(fresh: Session, told: Told) -> None:
    fresh.act({"kind": "length", "text": "11 ft 2 1/4 in", "of": "me"})
    assert told.last("length") == {"kind": "length", "of": "me", "metres": pytest.approx(3.40995)}
    fresh.act({"kind": "length", "text": "far", "of": "me"})
    assert '"far" is not a length' in told.last("length")["fault"]
    fresh.act({"kind": "length", "text": "0", "of": "me"})
    assert "too short" in told.last("length")["fault"]


def test_a_file_that_cannot_be_is_refused_at_once(tmp_path: Path, told: Told) -> None:
    with pytest.raises(BounceplanError, match=r"outside the room; .* Correct it in the file first"):
        Session(file_in(tmp_path, FILE.replace("ear = { from_front = 1.6", "ear = { from_front = 9")), told.append)


def test_the_unit_of_a_file_stays_and_that_of_a_new_room_may_change(tmp_path: Path, told: Told, fresh: Session) -> None:
    session = Session(file_in(tmp_path), told.append)
    session.act({"kind": "set", "name": "units", "text": "in"})
    assert "the unit of a file stays" in told.last("refused")["words"]
    fresh.act({"kind": "set", "name": "units", "text": "cm"})
    assert told.last("room")["texts"]["width"] == "340"


def test_places_that_a_path_means(tmp_path: Path) -> None:
    assert place_of(tmp_path / "den") == tmp_path / "den" / "scene.toml"
    assert place_of(tmp_path / "den.toml") == tmp_path / "den.toml"
    (tmp_path / "photo.png").write_bytes(b"")
    with pytest.raises(SceneError, match="it is no scene"):
        place_of(tmp_path / "photo.png")


def test_the_page_names_no_other_place() -> None:
    body = page_text("127.0.0.1:1", "abc")
    assert '<script nonce="abc">' in body
    assert "http://" not in body.replace("http://www.w3.org/2000/svg", "") and "https://" not in body
    assert "fetch(" not in body and "XMLHttpRequest" not in body and "toDataURL" not in body


def test_monitors_of_a_file_are_built_in_and_put_on_stands_again(tmp_path: Path, told: Told) -> None:
    session = Session(file_in(tmp_path), told.append)
    session.act({"kind": "set", "name": "monitors_on", "text": "built in"})
    assert told.last("room")["faults"] == {}
    session.act({"kind": "save"})
    text = session.path.read_text()
    assert "# its height follows from the desk" in text
    for one in read_scene(session.path).blueprint.loudspeakers:
        assert (one.standing, one.built_into, one.toe_in_deg) == ("built in", ("front wall",), 0.0)
        assert one.acoustic_axis.from_front == pytest.approx(0.02) and one.acoustic_axis.up == 1.2
    again = Session(session.path, told.append)
    assert again.form["monitors_on"] == "built in"
    again.act({"kind": "set", "name": "corners.3.wall", "text": "glass wall"})
    assert told.last("room")["faults"] == {}
    for row in (0, 1):
        again.act({"kind": "set", "name": f"loudspeakers.{row}.front", "text": "0.5"})
    again.act({"kind": "set", "name": "monitors_on", "text": "stands"})
    assert told.last("room")["faults"] == {}
    again.act({"kind": "save"})
    assert "built_into" not in session.path.read_text()
    assert [one.standing for one in read_scene(session.path).blueprint.loudspeakers] == ["stand", "stand"]
