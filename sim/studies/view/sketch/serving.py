"""The loop of a sketch: one message after the other until a request to stop comes; the doors are the live page's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from typing import Any, Final

from sim.blueprint.reader import SCENE_NAME
from sim.errors import SceneError
from sim.machine.stopping import go_on_unless_asked
from sim.showing.page import data_script
from sim.showing.page_files import filled, page_file
from sim.studies.view.doors import SOCKET_PATH
from sim.studies.view.frames import as_text
from sim.studies.view.pages import Page, Pages
from sim.studies.view.serving import TICK_S, Address, Inbox, open_sockets
from sim.studies.view.sketch.session import Session

SCRIPTS: Final = ("form.js", "drawing.js", "underlay.js", "sketch.js")
FOLDER: Final = "sim.studies.view.sketch"


def place_of(given: Path) -> Path:
    """The scene file that a path means: itself, or `scene.toml` in the folder, whether it is there yet or not.

    Raises
    ------
    SceneError
        If the path cannot be that of a scene.
    """
    if given.suffix == ".toml" and not given.is_dir():
        return given
    if given.exists() and not given.is_dir():
        raise SceneError(str(given), "it is no scene", "name a scene file, which ends in .toml, or a folder")
    return given / SCENE_NAME


def run(path: Path, units: str, addresses: Sequence[Address], ready: Callable[[list[Address]], None]) -> None:
    """Serve the page until a request to stop comes; `ready` is told the addresses once they are open.

    Raises
    ------
    BounceplanError
        If the scene cannot be read or an address cannot be had.
    KeyboardInterrupt
        When a request to stop came and everything is closed.
    """
    inbox = Inbox()
    pages = Pages(inbox.put)
    with ExitStack() as opened:
        session = Session(path, pages.tell, units)
        sockets = open_sockets(addresses, pages, page_text)
        for server, _ in sockets:
            opened.callback(server.shutdown)
        opened.callback(pages.close)
        ready([address for _, address in sockets])
        while True:
            go_on_unless_asked()
            items, _ = inbox.take(TICK_S)
            for page, message in items:
                do(session, page, message)


def do(session: Session, page: Page | None, message: dict[str, Any]) -> None:
    """Do one message; a page that was just opened is told everything."""
    if message.get("kind") == "opened":
        if page is not None:
            page.tell(as_text(session.message()))
    else:
        session.act(message)


def page_text(_: str, nonce: str) -> str:
    """The page, its script marked with a nonce; the socket is that of the live page."""
    return filled(_page(), {"@nonce@": nonce})


@cache
def _page() -> str:
    script = "\n".join([page_file("sim.studies.view", "page", "link.js"), *(_source(name) for name in SCRIPTS)])
    return filled(
        _source("sketch.html"),
        {
            "@style@": page_file("sim.studies.view", "page", "base.css") + _source("sketch.css"),
            "@data@": data_script("sketch-data", {"socket": SOCKET_PATH}),
            "@script@": f'"use strict";\n(() => {{\n{script}\n}})();',
            "@nonce@": "%%@nonce@%%",
        },
    )


def _source(name: str) -> str:
    return page_file(FOLDER, "page", name)
