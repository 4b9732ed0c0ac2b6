"""A scene out of a phone's scan of a room: what was found, what was not seen, and how far the scan lies from it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.machine.processes import typed
from sim.showing.terminal import compile_first, list_files, progress, say
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.progress import Report
    from sim.surveying.scan.records import ScannedRoom


def lines(found: ScannedRoom) -> list[str]:
    """What the command says."""
    from sim.studies.scan.text import scan_lines

    return scan_lines(found)


def write(found: ScannedRoom, folder: Path, report: Report, pictures: bool) -> None:
    """Write the scene, what was found in words, the walls as a table, the scan over the room and the plan."""
    from sim.machine.whole_files import write_whole
    from sim.showing.numbers import write_table
    from sim.showing.words import write_lines
    from sim.studies.scan.text import wall_rows

    write_whole(folder / "scene.toml", found.text, "the scene")
    write_lines(lines(found), folder / "scan.txt")
    write_table(folder / "walls.csv", *wall_rows(found))
    if pictures:
        from sim.studies.scan.picture import draw_scan

        report("drawing")
        draw_scan(found, folder / "scan.png")


# The command.

UNITS = ("m", "cm", "mm", "in", "ft")
UPS = ("+x", "-x", "+y", "-y", "+z", "-z")


def scan_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan scan`."""
    command.add_argument("file", type=Path, metavar="FILE", help="OBJ, PLY (faces or points) or GLB")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="folder to make")
    command.add_argument("--unit", choices=UNITS, help="unit of the scan (default: found out)")
    command.add_argument("--up", choices=UPS, help="axis of the scan that is up (default: found out)")
    command.add_argument("--front", metavar="WALL", help="the wall you face, by the name it has when this is left out")
    command.add_argument(
        "--tape",
        action="append",
        default=[],
        metavar="WHAT=LENGTH",
        help='a distance by tape, such as "left wall to right wall=4.12 m"; once at least, better twice',
    )
    command.add_argument("--units", choices=UNITS, default="m", help="unit of the scene file (default: m)")
    command.add_argument("--title", default="", help="what the room is called")
    command.add_argument("--no-pictures", action="store_true", help="numbers and words only")
    command.set_defaults(run=scan_command)


def scan_command(chosen: argparse.Namespace) -> int:
    """Make a scene of a scan, and say what is sure and what is not."""
    from sim.showing.folder import results_folder
    from sim.studies.saving import write_answer
    from sim.surveying.scan.survey import scan
    from sim.surveying.tape.typed_lengths import named_reading

    tape = [named_reading(each) for each in chosen.tape]
    with results_folder(chosen.output, overwrite=False, reads=[chosen.file]) as folder:
        compile_first("rooms")
        found = scan(
            chosen.file,
            unit=chosen.unit,
            up=chosen.up,
            front=chosen.front,
            tape=tape,
            units=chosen.units,
            title=chosen.title,
            report=progress,
        )
        write_answer(found, folder, report=progress, pictures=not chosen.no_pictures)
    say_answer(found)
    say("")
    list_files(chosen.output)
    say(
        f"next: look at the picture, put your tape measurements in, then: {typed('bounceplan', 'check', chosen.output)}"
    )
    return 0
