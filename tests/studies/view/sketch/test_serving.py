"""The doors of the sketch page, which are those of the live page, and what two open pages are told. No browser."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from sim.studies.view.doors import LONGEST_MESSAGE, new_token
from sim.studies.view.pages import Pages
from sim.studies.view.serving import Address, Inbox, open_sockets
from sim.studies.view.sketch.serving import do, page_text
from sim.studies.view.sketch.session import Session

TOKEN = new_token()


class House:
    """A sketch with an open address."""

    def __init__(self, folder: Path) -> None:
        self.inbox = Inbox()
        self.pages = Pages(self.inbox.put)
        self.session = Session(folder / "scene.toml", self.pages.tell)
        ((self.server, self.address),) = open_sockets([Address("127.0.0.1", 0, {TOKEN: True})], self.pages, page_text)
        self.host = f"127.0.0.1:{self.address.port}"

    def told(self, page: ClientConnection) -> dict[str, Any]:
        """The next message to a page; what was asked for meanwhile is done."""
        for _ in range(100):
            items, _ = self.inbox.take(0.05)
            for one, message in items:
                do(self.session, one, message)
            with suppress(TimeoutError):
                return dict(json.loads(page.recv(0.01)))
        raise AssertionError("nothing was told")

    @contextmanager
    def open(self, token: str = TOKEN, origin: str | None = None) -> Iterator[ClientConnection]:
        address = f"ws://{self.host}/live"
        with connect(address, origin=Origin(origin or f"http://{self.host}"), compression=None) as opened:
            opened.send(json.dumps({"token": token}))
            yield opened


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    opened = House(tmp_path)
    yield opened
    opened.pages.close()
    opened.server.shutdown()


def test_the_page_may_ask_its_own_socket_alone(house: House) -> None:
    with socket.create_connection(("127.0.0.1", house.address.port), 5.0) as asked:
        asked.sendall(f"GET / HTTP/1.1\r\nHost: {house.host}\r\n\r\n".encode())
        received = b""
        while part := asked.recv(65536):
            received += part
    head = received.partition(b"\r\n\r\n")[0].decode()
    assert f"connect-src ws://{house.host};" in head and "default-src 'none'" in head and "form-action 'none'" in head
    assert TOKEN.encode() not in received


def test_strangers_stay_outside(house: House) -> None:
    with pytest.raises(InvalidStatus), house.open(origin="http://elsewhere.example"):
        pass
    with house.open("guessed") as stranger, pytest.raises(ConnectionClosed):
        stranger.recv(5.0)
    with house.open() as page:
        page.send(json.dumps({"kind": "set", "name": "title", "text": "x" * LONGEST_MESSAGE}))
        with pytest.raises(ConnectionClosed):
            while True:
                page.recv(5.0)


def test_two_pages_show_one_room(house: House) -> None:
    with house.open() as one, house.open() as other:
        assert [house.told(page)["kind"] for page in (one, other)] == ["room", "room"]
        one.send(json.dumps({"kind": "set", "name": "width", "text": "3.5 m"}))
        assert [house.told(page)["texts"]["width"] for page in (one, other)] == ["3.5 m", "3.5 m"]
