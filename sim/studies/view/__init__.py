"""Move it with your hand and see the desk answer: the scene in a browser, worked out anew while it is dragged."""

from __future__ import annotations

import argparse
import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.showing.terminal import compile_first, progress, say, scene_argument, told_scene

if TYPE_CHECKING:
    from sim.studies.view.serving import Address

HIGHEST_PORT: Final = 65535
HERE: Final = "127.0.0.1"
UNITS: Final = ("m", "cm", "mm", "in", "ft")


def lines(addresses: Sequence[Address]) -> list[str]:
    """What the command says once pages can be opened: where, for whom, and how it ends."""
    from sim.studies.view.sharing import OVERHEARD, square

    told = []
    for one in addresses:
        for token, edits in one.tokens.items():
            address = f"http://{one.host}:{one.port}/#{token}"
            if one.host == HERE:
                told += ["Open this on this machine:", f"  {address}"]
            else:
                told += ["", f"Others in this network, {'to move things too' if edits else 'to look'}:", f"  {address}"]
                told += [square(address), OVERHEARD]
    return [*told, "", "End with Ctrl-C. Your file stays as it is; keep a variant to write one beside it."]


# The command.


def view_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan view`."""
    scene_argument(command)
    command.add_argument(
        "--port", type=_port, default=0, metavar="N", help="port on this machine (default: a free one)"
    )
    command.add_argument("--no-browser", action="store_true", help="only print the address, open no browser")
    command.add_argument(
        "--share",
        action="store_true",
        help="let others in this network look too, on a tablet; plain HTTP can be overheard",
    )
    command.add_argument("--share-edit", action="store_true", help="as --share, and let them move things")
    command.set_defaults(run=view_command)


def view_command(chosen: argparse.Namespace) -> int:
    """Serve a scene to a browser on this machine until a request to stop comes."""
    from sim.blueprint.reader import read_scene
    from sim.machine import stopping
    from sim.studies.view.doors import new_token
    from sim.studies.view.kept_address import KeptAddress
    from sim.studies.view.serving import Address, run
    from sim.studies.view.sharing import own_address

    scene = read_scene(told_scene(chosen))
    kept = KeptAddress(scene)
    port, token = kept.found(HERE, chosen.port) or (chosen.port, new_token())
    addresses = [Address(HERE, port, {token: True})]
    if chosen.share or chosen.share_edit:
        addresses.append(Address(own_address(), 0, {new_token(): bool(chosen.share_edit)}))
    compile_first()
    progress("building the scene")

    def ready(opened: list[Address]) -> None:
        kept.keep(opened[0].port, token)
        for line in lines(opened):
            say(line)
        if not chosen.no_browser:
            _open(f"http://{opened[0].host}:{opened[0].port}/#{token}")

    try:
        run(scene, addresses, ready, kept.sign)
    except KeyboardInterrupt:
        if stopping.asked() == signal.SIGINT:
            kept.forget(token)  # whoever presses Ctrl-C means that it is over
        raise
    return 0


def sketch_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan sketch`."""
    command.add_argument(
        "scene", nargs="?", type=Path, default=Path(), help="scene file or folder, there or to be made (default: here)"
    )
    command.add_argument("--units", choices=UNITS, help="unit of a new file (default: m)")
    command.add_argument("--port", type=_port, default=0, metavar="N", help="port on this machine")
    command.add_argument("--no-browser", action="store_true", help="only print the address, open no browser")
    command.set_defaults(run=sketch_command)


def sketch_command(chosen: argparse.Namespace) -> int:
    """Serve the form and drawing of a room to a browser on this machine until a request to stop comes."""
    from sim.studies.view.doors import new_token
    from sim.studies.view.serving import Address
    from sim.studies.view.sketch.serving import place_of, run

    path = place_of(chosen.scene)
    compile_first("rooms")

    def ready(opened: list[Address]) -> None:
        address = f"http://{opened[0].host}:{opened[0].port}/#{next(iter(opened[0].tokens))}"
        say("Open this on this machine:")
        say(f"  {address}")
        say("")
        say(f"End with Ctrl-C. Save on the page writes {path}; until then nothing is written.")
        if not chosen.no_browser:
            _open(address)

    run(path, chosen.units or "m", [Address(HERE, chosen.port, {new_token(): True})], ready)
    return 0


def _port(text: str) -> int:
    try:
        port = int(text)
    except ValueError:
        port = -1
    if not 0 <= port <= HIGHEST_PORT:
        raise argparse.ArgumentTypeError(
            f'"{text}" is no port; give a number from 1024 to {HIGHEST_PORT}, or leave it out'
        )
    return port


def _open(address: str) -> None:
    """Open the browser that a person sees; on a machine without a screen the address that was printed has to do."""
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return
    import webbrowser

    webbrowser.open(address)
