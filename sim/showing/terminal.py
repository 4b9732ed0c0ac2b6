"""What a command says while it works and when it is done."""

from __future__ import annotations

import sys
from pathlib import Path

from sim.errors import OutputError
from sim.machine.stopping import go_on_unless_asked
from sim.machine.whole_files import refuse_name
from sim.printable import printable


def say(words: str) -> None:
    """Print to the screen."""
    print(printable(words), flush=True)  # noqa: T201
    go_on_unless_asked()


def progress(words: str) -> None:
    """Say what is happening, apart from what may be piped on."""
    print(f"  ... {printable(words)}", file=sys.stderr, flush=True)  # noqa: T201
    go_on_unless_asked()


def compile_first(*groups: str) -> None:
    """Have the kernels that a command wants compiled, and say so where that takes long.

    groups: as in `sim.compiling`; left out, those of a whole trace.
    """
    from sim.compiling import compile_kernels

    compile_kernels(progress, groups or ("rooms", "paths", "edges", "maps", "decay"))


def refuse_missing_folder(picture: Path | None) -> None:
    """Say at once that a picture cannot go where it should, before anything long is worked out.

    Raises
    ------
    OutputError
        If its folder is not there, or its name is not one of a picture and another file could be lost.
    """
    if picture is None:
        return
    if not refuse_name(picture).parent.is_dir():
        raise OutputError(f"{picture}: there is no such folder; make it first, or choose another place.")
    if picture.suffix.lower() != ".png" or picture.is_dir():
        raise OutputError(f"{picture}: a picture is a PNG file; give it a name that ends in .png.")


def list_files(folder: Path) -> None:
    """Say what was written to a folder, and what for."""
    from sim.showing.file_meanings import listed_files

    say(f"written to {folder}:")
    for line in listed_files(folder):
        say(line)
