"""What commands take and say: arguments that many share, progress, and the files written."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import OutputError, printable
from sim.machine.stopping import go_on_unless_asked
from sim.machine.whole_files import refuse_name

if TYPE_CHECKING:
    from sim.blueprint.reader import SceneFile


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

    compile_kernels(progress, groups or ("rooms", "paths", "edges", "waves", "maps", "decay"))


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


# Arguments that many commands take, each said once.

PAPERS: Final = ("a4", "a3", "letter")


def scene_argument(command: argparse.ArgumentParser) -> None:
    """Take one scene."""
    command.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    command.add_argument("--set", metavar="NAME", help="the set of monitors that plays (default: as the scene says)")


def told_scene(chosen: argparse.Namespace) -> Path | SceneFile:
    """The scene of a command, with the set of monitors playing that it names.

    Raises
    ------
    SceneError
        If there is no such set.
    """
    if not getattr(chosen, "set", None):
        return chosen.scene  # type: ignore[no-any-return]
    from sim.blueprint.reader import play

    return play(chosen.scene, chosen.set)


def scenes_argument(command: argparse.ArgumentParser) -> None:
    """Take several scenes."""
    command.add_argument("scenes", type=Path, nargs="+", help="scene files or folders; the first is the reference")


def output_arguments(command: argparse.ArgumentParser, *, pictures: bool = True) -> None:
    """Take a results folder to make, whether it may replace one, and whether to draw."""
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    if pictures:
        command.add_argument("--no-pictures", action="store_true", help="numbers and words only")


def order_argument(command: argparse.ArgumentParser) -> None:
    """Take the most surfaces of a path."""
    command.add_argument("--order", type=int, choices=range(1, 7), help="most surfaces a path may touch")


def waves_argument(command: argparse.ArgumentParser) -> None:
    """Take up to where sound waves are worked out."""
    command.add_argument(
        "--waves-to",
        type=float,
        metavar="HZ",
        help="work out sound waves round what stands near up to this frequency (default: 1000, or as the scene says;"
        " 0: none)",
    )


def processes_argument(command: argparse.ArgumentParser) -> None:
    """Take how many processes share the work."""
    command.add_argument(
        "--processes", type=int, metavar="N", help="processes to spread the work over (default: all cores)"
    )


def picture_argument(command: argparse.ArgumentParser, option: str = "--picture") -> None:
    """Take a file for a picture."""
    command.add_argument(option, type=Path, metavar="PNG", help="also draw it to this file")


def paper_argument(command: argparse.ArgumentParser) -> None:
    """Take the choice of paper."""
    command.add_argument(
        "--paper", choices=PAPERS, default="a4", help="paper size of the drawings, landscape (default: a4)"
    )
