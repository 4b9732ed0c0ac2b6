"""The doors: who gets the page, who may open the socket, and what may be said there. No browser, a real socket."""

from __future__ import annotations

import hashlib
import json
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from sim.errors import OutputError
from sim.studies.view.doors import new_token
from sim.studies.view.pages import Page, Pages
from sim.studies.view.serving import Address, open_sockets
from sim.studies.view.sharing import own_address

EDIT, LOOK = new_token(), new_token()


class House:
    """An open address, and what its pages asked for."""

    def __init__(self, at: str = "127.0.0.1", tokens: dict[str, bool] | None = None) -> None:
        self.asked: list[dict] = []
        self.came = threading.Condition()
        self.pages = Pages(self.take)
        ((self.server, self.address),) = open_sockets([Address(at, 0, tokens or {EDIT: True, LOOK: False})], self.pages)
        self.host = f"{at}:{self.address.port}"

    def take(self, _: Page | None, message: dict) -> None:
        with self.came:
            self.asked.append(message)
            self.came.notify_all()

    def heard(self, kind: str) -> bool:
        with self.came:
            return self.came.wait_for(lambda: any(one.get("kind") == kind for one in self.asked), 5.0)

    @contextmanager
    def open(self, token: str | None = EDIT, *, origin: str | None = None) -> Iterator[ClientConnection]:
        address = f"ws://{self.host}/live"
        with connect(address, origin=Origin(origin or f"http://{self.host}"), compression=None) as opened:
            if token is not None:
                opened.send(json.dumps({"token": token}))
            yield opened

    def http(self, request: str) -> str:
        with socket.create_connection((self.address.host, self.address.port), 5.0) as asked:
            asked.sendall(request.encode())
            received = b""
            while part := asked.recv(65536):
                received += part
        return received.decode("utf-8", "replace")

    def get(self, path: str, host: str | None = None, more: str = "") -> str:
        return self.http(f"GET {path} HTTP/1.1\r\nHost: {host or self.host}\r\n{more}\r\n")


@pytest.fixture(scope="module")
def house() -> Iterator[House]:
    opened = House()
    yield opened
    opened.pages.close()
    opened.server.shutdown()
    assert not opened.server.connections


def status(answer: str) -> int:
    return int(answer.split(" ", 2)[1])


def test_the_page_asks_for_nothing_but_its_socket(house: House) -> None:
    answer = house.get("/")
    head, _, body = answer.partition("\r\n\r\n")
    assert status(answer) == 200
    assert f"connect-src ws://{house.host};" in head
    assert "default-src 'none'" in head and "frame-ancestors 'none'" in head
    assert "no-store" in head and "no-referrer" in head
    nonce = head.split("'nonce-")[1].split("'")[0]
    assert f'<script nonce="{nonce}">' in body
    assert EDIT not in answer and LOOK not in answer
    assert "http://" not in body.replace("http://www.w3.org/2000/svg", "") and "https://" not in body
    assert nonce != house.get("/").split("'nonce-")[1].split("'")[0]


@pytest.mark.parametrize("path", ["/../etc/passwd", "/live/..", "/%2e%2e/x", "//", "/scene.toml", "/?x", "/live?x"])
def test_there_is_no_other_path(house: House, path: str) -> None:
    assert status(house.get(path)) == 404


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost", "[::1]:80", "0.0.0.0"])
def test_a_name_turned_to_this_machine_gets_nothing(house: House, host: str) -> None:
    assert status(house.get("/", host)) == 403
    assert status(house.get("/live", host)) == 403


def test_two_hosts_are_one_too_many(house: House) -> None:
    assert status(house.get("/", more=f"Host: {house.host}\r\n")) == 400


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS"])
def test_only_reading_is_answered(house: House, method: str) -> None:
    answer = house.http(f"{method} / HTTP/1.1\r\nHost: {house.host}\r\nContent-Length: 0\r\n\r\n")
    assert answer == "" or status(answer) >= 400


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1", "https://{host}", "file://"])
def test_another_origin_opens_no_socket(house: House, origin: str) -> None:
    with pytest.raises(InvalidStatus) as refused, house.open(origin=origin.format(host=house.host)):
        pass
    assert refused.value.response.status_code == 403


def test_no_origin_opens_no_socket(house: House) -> None:
    with pytest.raises(InvalidStatus) as refused, connect(f"ws://{house.host}/live", compression=None):
        pass
    assert refused.value.response.status_code == 403


@pytest.mark.parametrize(
    "first", ['{"token": "wrong"}', "{}", "[]", "nonsense", '{"token": 5}', "[" * 9000, '{"token": "\\ud800"}']
)
def test_a_wrong_word_closes_the_socket(house: House, first: str) -> None:
    with house.open(None) as opened:
        opened.send(first)
        with pytest.raises(ConnectionClosed) as closed:
            opened.recv(5.0)
    assert closed.value.rcvd is not None and closed.value.rcvd.code == 1008


def keyed_hash(token: str, words: str) -> str:
    """HMAC with SHA-256 as RFC 2104 writes it out: H(K ^ opad, H(K ^ ipad, text)), blocks of 64 bytes."""
    key = token.encode().ljust(64, b"\0")
    inner = hashlib.sha256(bytes(one ^ 0x36 for one in key) + words.encode()).digest()
    return hashlib.sha256(bytes(one ^ 0x5C for one in key) + inner).hexdigest()


def test_the_program_shows_that_it_knows_the_word_before_it_is_said(house: House) -> None:
    thrown = "0123456789abcdef" * 2
    with house.open(None) as opened:
        opened.send(json.dumps({"thrown": thrown}))
        answer = opened.recv(5.0)
        assert isinstance(answer, str) and EDIT not in answer and LOOK not in answer
        told = json.loads(answer)
        assert told["kind"] == "known"
        assert told["proofs"] == [keyed_hash(token, f"bounceplan {house.host} {thrown}") for token in (EDIT, LOOK)]
        opened.send(json.dumps({"token": EDIT}))
        opened.send(json.dumps({"kind": "pin"}))
        assert house.heard("pin")


def test_what_was_shown_opens_nothing(house: House) -> None:
    """Neither the proof in place of the word, nor being asked for twice, nor a wrong word after it."""
    thrown = "0123456789abcdef" * 2
    proof = keyed_hash(EDIT, f"bounceplan {house.host} {thrown}")
    for second in ({"token": proof}, {"thrown": thrown}, {"token": "wrong"}):
        with house.open(None) as opened:
            opened.send(json.dumps({"thrown": thrown}))
            opened.recv(5.0)
            opened.send(json.dumps(second))
            with pytest.raises(ConnectionClosed) as closed:
                opened.recv(5.0)
        assert closed.value.rcvd is not None and closed.value.rcvd.code == 1008


@pytest.mark.parametrize("thrown", ["", "0" * 31, "0" * 65, "X" * 32, 5, None, ["0" * 32], "0" * 32 + "\n"])
def test_what_was_not_thrown_well_is_shown_nothing(house: House, thrown: object) -> None:
    with house.open(None) as opened:
        opened.send(json.dumps({"thrown": thrown}))
        with pytest.raises(ConnectionClosed) as closed:
            opened.recv(5.0)
    assert closed.value.rcvd is not None and closed.value.rcvd.code == 1008


def test_a_message_of_twenty_thousand_bytes_closes_the_socket(house: House) -> None:
    with house.open() as opened:
        opened.send(json.dumps({"kind": "type", "text": "x" * 20_000}))
        with pytest.raises(ConnectionClosed) as closed:
            opened.recv(5.0)
        assert closed.value.rcvd is not None and closed.value.rcvd.code == 1009


def test_whoever_knows_the_word_is_heard(house: House) -> None:
    with house.open() as opened:
        opened.send(json.dumps({"kind": "undo"}))
        assert house.heard("undo")


def test_a_page_for_looking_moves_nothing(house: House) -> None:
    with house.open(LOOK) as opened:
        opened.send(json.dumps({"kind": "redo"}))
        told = json.loads(opened.recv(5.0))
        assert told["kind"] == "refused" and "--share-edit" in told["words"]
        opened.send(json.dumps({"kind": "octave", "band": 2}))
        assert house.heard("octave")
    assert not any(one.get("kind") == "redo" for one in house.asked)


def test_others_in_the_network_look_at_the_address_of_this_machine_there() -> None:
    """At a real address of the network, not the loopback one; its door knows no other name and no other token."""
    try:
        there = own_address()
    except OutputError as fault:  # a machine that is in no network says so, and nothing is shared
        assert str(fault).endswith("connect it first.")
        return
    assert not there.startswith("127.")
    shared = House(there, {LOOK: False})
    try:
        answer = shared.get("/")
        assert status(answer) == 200 and f"connect-src ws://{shared.host};" in answer
        assert status(shared.get("/", f"127.0.0.1:{shared.address.port}")) == 403
        assert status(shared.get("/", f"localhost:{shared.address.port}")) == 403
        with pytest.raises(OSError), socket.create_connection(("127.0.0.1", shared.address.port), 1.0):
            pass
        with shared.open(LOOK) as opened:
            assert shared.heard("opened")
            shared.pages.show(b"frame")
            assert opened.recv(5.0) == b"frame"
            for kind in (
                "move",
                "undo",
                "keep",
                "save",
                "hang",
                "take",
                "restore",
                "compare",
                "worth",
                "stop",
                "again",
            ):
                opened.send(json.dumps({"kind": kind}))
                assert json.loads(opened.recv(5.0))["kind"] == "refused", kind
            opened.send(json.dumps({"kind": "why", "key": "x"}))
            assert shared.heard("why")
        assert [one["kind"] for one in shared.asked if one["kind"] != "closed"] == ["opened", "why"]
        with shared.open(EDIT) as opened, pytest.raises(ConnectionClosed):
            opened.recv(5.0)
    finally:
        shared.pages.close()
        shared.server.shutdown()


def test_frames_wait_for_the_page_and_the_newest_wins(house: House) -> None:
    with house.open() as opened:
        opened.send(json.dumps({"kind": "ready"}))
        assert house.heard("ready")
        for number in range(50):
            house.pages.show(bytes([number]))
        seen = [opened.recv(5.0)]
        while seen[-1] != bytes([49]):
            opened.send(json.dumps({"kind": "drawn"}))
            seen.append(opened.recv(5.0))
        assert len(seen) <= 6, "a page that draws slowly is not sent what is old"


def test_a_hidden_page_is_sent_nothing_until_it_is_seen(house: House) -> None:
    with house.open() as opened:
        opened.send(json.dumps({"kind": "pause"}))
        opened.send(json.dumps({"kind": "mark"}))
        assert house.heard("mark")
        house.pages.show(b"1")
        house.pages.show(b"2")
        with pytest.raises(TimeoutError):
            opened.recv(0.2)
        opened.send(json.dumps({"kind": "go"}))
        assert opened.recv(5.0) == b"2"
