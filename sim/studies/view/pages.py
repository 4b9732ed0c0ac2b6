"""Open pages: each is sent texts in order, and of frames the newest alone, as fast as it says that it drew them."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from websockets.exceptions import ConnectionClosed

from sim.studies.view.doors import Door, first_word, message_of
from sim.studies.view.frames import as_text

if TYPE_CHECKING:
    from websockets.sync.server import ServerConnection

UNDRAWN: Final = 2
"""Frames that may be under way to a page that has not said that it drew them."""
PATIENCE_S: Final = 1.0
"""A page that says nothing for so long is sent the next frame all the same."""
WRONG_WORD: Final = 1008
MOST_PAGES: Final = 16
LOOKERS_ASK: Final = ("octave", "surface", "why", "dip")
"""What a page may ask that is only for looking."""

Take = Callable[["Page | None", dict[str, Any]], None]


class Page:
    """One open page."""

    def __init__(self, connection: ServerConnection, edits: bool) -> None:
        self.connection, self.edits = connection, edits
        self._texts: deque[str] = deque()
        self._frame: bytes | None = None
        self._sent, self._drawn = 0, 0
        self._drawn_at = 0.0
        self._paused, self._over = False, False
        self._changed = threading.Condition()

    def tell(self, text: str) -> None:
        """Send a text; none is left out."""
        with self._changed:
            self._texts.append(text)
            self._changed.notify()

    def show(self, frame: bytes) -> None:
        """Send a frame, unless a newer one comes before its turn."""
        with self._changed:
            self._frame = frame
            self._changed.notify()

    def heard(self, message: Mapping[str, Any]) -> bool:
        """Take what a page says about itself: that it drew a frame, or that nobody looks at it."""
        kind = message.get("kind")
        with self._changed:
            if kind == "drawn":
                self._drawn, self._drawn_at = self._sent if message.get("all") else self._drawn + 1, time.monotonic()
            elif kind in ("pause", "go"):
                self._paused = kind == "pause"
            else:
                return False
            self._changed.notify()
        return True

    def end(self) -> None:
        """Send nothing more."""
        with self._changed:
            self._over = True
            self._changed.notify()

    def run(self) -> None:
        """Send until the page is gone."""
        with suppress(ConnectionClosed, OSError):
            while (item := self._next()) is not None:
                self.connection.send(item)

    def _next(self) -> str | bytes | None:
        with self._changed:
            while not self._over:
                if self._texts:
                    return self._texts.popleft()
                if self._frame is not None and not self._paused:
                    late = time.monotonic() - self._drawn_at > PATIENCE_S
                    if self._sent - self._drawn < UNDRAWN or late:
                        if late:
                            self._drawn, self._drawn_at = self._sent, time.monotonic()
                        frame, self._frame = self._frame, None
                        self._sent += 1
                        return frame
                    self._changed.wait(PATIENCE_S / 4.0)
                    continue
                self._changed.wait()
        return None


class Pages:
    """All open pages; `take` is given what they ask for."""

    def __init__(self, take: Take) -> None:
        self._take = take
        self._open: list[Page] = []
        self._lock = threading.Lock()

    def tell(self, message: Mapping[str, Any]) -> None:
        """Send a text to all."""
        text = as_text(message)
        for page in self.all():
            page.tell(text)

    def show(self, frame: bytes) -> None:
        """Show a frame to all."""
        for page in self.all():
            page.show(frame)

    def all(self) -> list[Page]:
        """The open pages."""
        with self._lock:
            return list(self._open)

    def close(self) -> None:
        """Close all, without waiting for them."""
        for page in self.all():
            page.end()
            with suppress(OSError, ConnectionClosed):
                page.connection.close(1001, "the program ended")

    def serve(self, connection: ServerConnection, door: Door) -> None:
        """Serve one page until it is gone."""
        with suppress(ConnectionClosed):
            first = first_word(connection)
            known = door.proofs(_host(connection), first)
            if known is not None:
                connection.send(as_text(known))
                first = first_word(connection)
            edits = door.may_edit(first)
            if edits is None:
                connection.close(WRONG_WORD, "not the token of this session")
                return
            page = Page(connection, edits)
            with self._lock:
                full = len(self._open) >= MOST_PAGES
                if not full:
                    self._open.append(page)
            if full:
                connection.close(WRONG_WORD, "too many pages are open")
                return
            sender = threading.Thread(target=page.run, daemon=True)
            sender.start()
            try:
                self._take(page, {"kind": "opened"})
                for text in connection:
                    message = message_of(text)
                    if message is None or page.heard(message):
                        continue
                    if page.edits or message.get("kind") in LOOKERS_ASK:
                        self._take(page, message)
                    else:
                        page.tell(as_text({"kind": "refused", "words": LOOK_ONLY, "things": []}))
            finally:
                page.end()
                with self._lock:
                    self._open.remove(page)
                self._take(None, {"kind": "closed"})


def _host(connection: ServerConnection) -> str | None:
    """The address that a page was opened at; the door has seen to it that there is one."""
    return None if connection.request is None else connection.request.headers.get("Host")


LOOK_ONLY: Final = "This page is for looking; whoever started bounceplan can let others move things with --share-edit."
