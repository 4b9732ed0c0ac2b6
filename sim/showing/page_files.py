"""Files that pages are put together of: their own, and the picture that turns, which several pages share."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

VIEWER: Final = ("matrices.js", "lengths.js", "unpacking.js", "drawing.js", "room.js", "viewer.js")
"""Scripts of the picture that turns, in the order in which they need each other."""


def viewer_scripts() -> str:
    """The scripts of the picture that turns as one text."""
    return "\n".join(page_file("sim.showing", "viewer", name) for name in VIEWER)


def page_file(package: str, folder: str, name: str) -> str:
    """Text of a file that comes with a package."""
    return files(package).joinpath(folder, name).read_text(encoding="utf-8")


def filled(page: str, fills: dict[str, str]) -> str:
    """A page with its `%%@name@%%` filled in; fills may hold anything, so nothing is looked for inside them."""
    return "".join(fills.get(piece, piece) for piece in page.split("%%"))
