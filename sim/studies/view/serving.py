"""The whole of a session: the socket, the loop that does one thing after the other, and the process at rest.

The loop runs where requests to stop arrive, so that Ctrl-C and the system's own end it between two frames; the process
at rest, the socket and all pages are closed then.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import Any, Final

from websockets.sync.server import Server, ServerConnection, serve

from sim.blueprint.reader import SceneFile, parse_scene
from sim.blueprint.toml_text import scene_text
from sim.errors import BounceplanError, OutputError
from sim.machine.processes import one_blas_thread
from sim.machine.stopping import go_on_unless_asked
from sim.studies.view.asking import Reply
from sim.studies.view.doors import LONGEST_MESSAGE, Door
from sim.studies.view.frames import as_text
from sim.studies.view.jobs import Jobs, News
from sim.studies.view.page import page_text
from sim.studies.view.pages import Page, Pages
from sim.studies.view.requests import state_message
from sim.studies.view.rest import Found, Rest
from sim.studies.view.session import Session

AT_REST_S: Final = 0.15
"""Nothing moved for so long: things stand still."""
LOOK_AT_FILE_S: Final = 1.0
TICK_S: Final = 0.05
CLOSE_S: Final = 0.5
Item = tuple[Page | None, dict[str, Any]]
Heard = Found | Reply | News


@dataclass(frozen=True, slots=True)
class Address:
    """Where pages are served, and who may do what there."""

    host: str
    port: int
    tokens: dict[str, bool]


@dataclass
class Inbox:
    """What pages asked for and what was found at rest, in order; a newer move takes the place of the one before."""

    items: list[Item] = field(default_factory=list)
    found: list[Heard] = field(default_factory=list)
    changed: threading.Condition = field(default_factory=threading.Condition)

    def put(self, page: Page | None, message: dict[str, Any]) -> None:
        """Take a message of a page."""
        with self.changed:
            last = self.items[-1] if self.items else None
            if last is not None and last[0] is page and newer(last[1], message):
                self.items.pop()
            self.items.append((page, message))
            self.changed.notify()

    def put_found(self, found: Heard) -> None:
        """Take what was found at rest, or how saving goes."""
        with self.changed:
            self.found.append(found)
            self.changed.notify()

    def take(self, wait_s: float) -> tuple[list[Item], list[Heard]]:
        """Give everything there is, waiting a little where there is nothing."""
        with self.changed:
            if not self.items and not self.found:
                self.changed.wait(wait_s)
            items, found = self.items, self.found
            self.items, self.found = [], []
        return items, found


def newer(before: dict[str, Any], message: dict[str, Any]) -> bool:
    """Whether a move says all that the one before it did: the same numbers of the same drag."""
    if before.get("kind") != "move" or message.get("kind") != "move" or before.get("done"):
        return False
    old, new = before.get("values"), message.get("values")
    return isinstance(old, dict) and isinstance(new, dict) and set(old) == set(new) and bool(new)


def open_sockets(
    addresses: Sequence[Address], pages: Pages, page: Callable[[str, str], str] = page_text
) -> list[tuple[Server, Address]]:
    """Open the addresses and serve a page at each in a thread of its own; those with port 0 get a free one.

    Raises
    ------
    OutputError
        If one cannot be had.
    """
    opened: list[tuple[Server, Address]] = []
    for one in addresses:
        box: list[Door] = []
        try:
            server = serve(
                _handler(pages, box),
                one.host,
                one.port,
                process_request=_asked(box, page),
                compression=None,
                server_header=None,
                max_size=LONGEST_MESSAGE,
                close_timeout=CLOSE_S,
            )
        except OSError as fault:
            for other, _ in opened:
                other.shutdown()
            raise OutputError(
                f"{one.host}:{one.port}: no page can be served there ({fault.strerror or fault}); give another --port."
            ) from None
        port = int(server.socket.getsockname()[1])
        names = [one.host, "localhost"] if one.host == "127.0.0.1" else [one.host]
        box.append(Door(frozenset(f"{name}:{port}" for name in names), one.tokens))
        threading.Thread(target=server.serve_forever, daemon=True).start()
        opened.append((server, Address(one.host, port, one.tokens)))
    return opened


def _handler(pages: Pages, box: list[Door]) -> Callable[[ServerConnection], None]:
    def handle(connection: ServerConnection) -> None:
        pages.serve(connection, box[0])

    return handle


def _asked(box: list[Door], page: Callable[[str, str], str]) -> Callable[[ServerConnection, Any], Any]:
    def answer(_: ServerConnection, request: Any) -> Any:
        return box[0].answer(request, page)

    return answer


def run(
    scene: SceneFile,
    addresses: Sequence[Address],
    ready: Callable[[list[Address]], None],
    alive: Callable[[], None] = lambda: None,
) -> None:
    """Serve a scene until a request to stop comes; `ready` is told the addresses once they are open.

    `alive` is called about once a second as long as it is served.

    Raises
    ------
    BounceplanError
        If the scene cannot be or an address cannot be had.
    KeyboardInterrupt
        When a request to stop came and everything is closed.
    """
    inbox = Inbox()
    pages = Pages(inbox.put)
    with ExitStack() as opened:
        opened.enter_context(one_blas_thread())
        rest: list[Rest] = []
        jobs = Jobs(inbox.put_found)
        opened.callback(jobs.close)
        session = Session(scene, pages.tell, pages.show, lambda task: rest[0].ask(task), jobs)
        sockets = open_sockets(addresses, pages)
        for server, _ in sockets:
            opened.callback(server.shutdown)
        opened.callback(pages.close)
        rest.append(Rest(inbox.put_found))
        opened.callback(lambda: rest[0].close())
        ready([address for _, address in sockets])
        loop(session, inbox, pages, rest, alive)


def loop(
    session: Session, inbox: Inbox, pages: Pages, rest: list[Rest], alive: Callable[[], None] = lambda: None
) -> None:
    """Do one thing after the other, for ever."""
    last = looked = time.monotonic()
    watched = Watched(session)
    while True:
        go_on_unless_asked()
        items, found = inbox.take(TICK_S)
        for page, message in items:
            _do(session, pages, page, message)
            last = time.monotonic()
        for one in found:
            session.take(one)
        now = time.monotonic()
        if pages.all() and now - last > AT_REST_S:
            session.settle()
        if now - looked > LOOK_AT_FILE_S:
            looked = now
            alive()
            watched.look(pages)
            if not rest[0].alive:
                rest[0].close()
                rest[0] = Rest(inbox.put_found)
                session.asked = False
                session.requests.save_now()


def _do(session: Session, pages: Pages, page: Page | None, message: dict[str, Any]) -> None:
    kind = message.get("kind")
    if kind in ("opened", "closed"):
        if page is not None:
            page.tell(as_text({**session.scheme.message, "edits": page.edits}))
            page.tell(as_text(state_message(session.history.now, session.number)))
            page.show(session.message())
        pages.tell({"kind": "pages", "count": len(pages.all())})
        return
    session.act(message)


class Watched:
    """The scene's file, looked at from time to time: it may be changed by other hands."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.said = ""

    def look(self, pages: Pages) -> None:
        """Say once that the file has changed, and whether it can be read."""
        base = self.session.history.now.base
        try:
            text = scene_text(base.scene.path)
        except BounceplanError as fault:
            self._say(pages, str(fault), f"{fault} What is shown here goes on.", False)
            return
        if text == base.text:
            self.said = ""
            return
        try:
            parse_scene(text, base.scene.folder, base.scene.path)
        except BounceplanError as fault:
            self._say(
                pages, text, f"The file was changed and cannot be read so: {fault} What is shown here goes on.", False
            )
            return
        self._say(pages, text, f"{base.scene.path.name} was changed by other hands.", True)

    def _say(self, pages: Pages, what: str, words: str, readable: bool) -> None:
        if what != self.said:
            self.said = what
            pages.tell({"kind": "file", "words": words, "readable": readable})
