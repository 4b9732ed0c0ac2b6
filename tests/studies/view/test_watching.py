"""What the loop does besides: moves that overtake each other, a file changed by other hands, addresses said."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from sim.blueprint.reader import read_scene
from sim.errors import OutputError
from sim.studies.view import lines
from sim.studies.view.pages import Pages
from sim.studies.view.serving import Address, Inbox, Watched, open_sockets
from sim.studies.view.state import State, base_of
from tests.studies.view.view_cases import ROOM, room_file


def move(done: bool = False, **values: float) -> dict[str, Any]:
    return {"kind": "move", "values": values, "done": done}


def test_a_newer_move_of_the_same_numbers_overtakes() -> None:
    inbox = Inbox()
    for message in (move(a=1), move(a=2), move(a=3), move(b=1), move(b=2, done=True), move(b=3), {"kind": "undo"}):
        inbox.put(None, message)
    items, found = inbox.take(0.0)
    assert [message for _, message in items] == [
        move(a=3),
        move(b=1) | move(b=2, done=True),
        move(b=3),
        {"kind": "undo"},
    ]
    assert found == []
    inbox.put(None, move(a=1))
    inbox.put(None, {"kind": "move", "values": {}, "done": True})
    assert len(inbox.take(0.0)[0]) == 2, "letting go takes the place of nothing"


def test_a_file_changed_by_other_hands_is_said_once(tmp_path: Path) -> None:
    path = room_file(tmp_path)
    session = SimpleNamespace(history=SimpleNamespace(now=State(base_of(read_scene(path)))))
    told: list[dict[str, Any]] = []
    pages: Any = SimpleNamespace(tell=told.append)
    watched = Watched(session)  # type: ignore[arg-type]
    watched.look(pages)
    assert told == []
    room_file(tmp_path, ROOM.replace("top = 0.74", "top = 0.73"))
    watched.look(pages)
    watched.look(pages)
    assert [(one["kind"], one["readable"]) for one in told] == [("file", True)]
    room_file(tmp_path, ROOM.replace("top = 0.74", "top = "))
    watched.look(pages)
    assert told[-1]["readable"] is False and "cannot be read" in told[-1]["words"] and "scene.toml" in told[-1]["words"]
    path.unlink()
    watched.look(pages)
    assert told[-1]["readable"] is False and len(told) == 3
    room_file(tmp_path)
    watched.look(pages)
    assert len(told) == 3


def test_what_is_said_names_who_may_do_what() -> None:
    said = "\n".join(lines([Address("127.0.0.1", 5, {"word": True}), Address("192.0.2.7", 6, {"other": False})]))
    assert "http://127.0.0.1:5/#word" in said and "http://192.0.2.7:6/#other" in said
    assert "to look:" in said and "overhear" in said and "to move things too" not in said
    assert "\u2588" in said or "\u2584" in said, "the square"
    alone = "\n".join(lines([Address("127.0.0.1", 5, {"word": True})]))
    assert "overhear" not in alone and "Ctrl-C" in alone


def test_an_address_that_is_taken_is_one_sentence() -> None:
    pages = Pages(lambda *_: None)
    ((server, address),) = open_sockets([Address("127.0.0.1", 0, {})], pages)
    try:
        with pytest.raises(OutputError, match="--port"):
            open_sockets([Address("127.0.0.1", address.port, {})], pages)
    finally:
        server.shutdown()
