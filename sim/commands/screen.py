"""What a command says while it works and when it is done."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ..errors import OutputError
from ..printable import printable
from . import second_compiler


def say(words: str) -> None:
    """Print to the screen."""
    print(printable(words), flush=True)  # noqa: T201


def progress(words: str) -> None:
    """Say what is happening, apart from what may be piped on."""
    print(f"  ... {printable(words)}", file=sys.stderr, flush=True)  # noqa: T201


def say_if_cold(edges: bool = True, paths: bool = True) -> None:
    """Warn that the first run on a machine compiles the kernels, and have a second process help with it.

    edges: whether sound round edges will be worked out; paths: whether mirrored paths will be looked for, without which
    there is nothing for a second process to do.
    """
    if second_compiler.is_cold():
        if paths:
            second_compiler.start(edges)
        progress("first run on this machine: compiling the ray kernels takes about a quarter of a minute, once")


def refuse_missing_folder(picture: Path | None) -> None:
    """Say at once that a picture has no folder to go to, before anything long is worked out.

    Raises
    ------
    OutputError
        If its folder is not there.
    """
    if picture is not None and not picture.resolve().parent.is_dir():
        raise OutputError(f"{picture}: there is no such folder; make it first, or choose another place.")


def draw_and_list(chosen: argparse.Namespace, folders: list[Path]) -> None:
    """Draw the pictures, numbers being safe, and list what there is; missing pictures are no failure."""
    folder: Path = chosen.output
    trouble = "" if chosen.no_pictures else drawn(folders, folder)
    if trouble:
        say(f"some pictures could not be drawn; all numbers are there. {trouble}")
    say("")
    list_files(folder)


def list_files(folder: Path) -> None:
    """Say what was written to a folder, and what for."""
    from ..writers.file_meanings import listed_files

    say(f"written to {folder}:")
    for line in listed_files(folder):
        say(line)


def drawn(folders: list[Path], out: Path) -> str:
    """Draw, and note new pictures as belonging to the results, so that they go when these are replaced."""
    from ..pictures import draw_folders
    from ..writers.folder import CONTENTS, add_to_contents

    noting = [folder for folder in dict.fromkeys([*folders, out]) if (folder / CONTENTS).is_file()]
    before = {folder: set(folder.rglob("*.png")) for folder in noting}
    trouble = draw_folders(folders, out, progress)
    for folder in noting:
        add_to_contents(folder, set(folder.rglob("*.png")) - before[folder])
    return trouble
