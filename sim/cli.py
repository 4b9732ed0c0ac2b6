"""Commands and their arguments; what they do is in `sim.commands`."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Final

from sim import __version__
from sim.studies.absorber.command import absorber_command
from sim.studies.bounces.command import bounces_arguments
from sim.studies.decay.command import decay_arguments
from sim.studies.explain.command import explain_arguments
from sim.studies.loudspeaker.command import loudspeaker_arguments
from sim.studies.orient.command import orient_arguments
from sim.studies.report.command import report_arguments
from sim.studies.check.command import check_command, new_command, schema_command
from sim.studies.search.command import search_arguments
from sim.studies.sheets.command import sheets_arguments
from sim.studies.stand.command import stand_arguments
from sim.studies.sweep.command import sweep_arguments
from sim.studies.tolerance.command import tolerance_arguments
from sim.studies.trace.command import compare_command, draw_command, trace_command
from sim.studies.treat.command import treat_arguments

Command = Callable[[argparse.Namespace], int]
FURTHER: Final[dict[str, tuple[str, Callable[[argparse.ArgumentParser], None]]]] = {
    "explain": ("one arrival in words: each loss, and what would remove it", explain_arguments),
    "treat": ("which panels exactly where, what each buys, and papers for the builder", treat_arguments),
    "sweep": ("how reflections change as numbers of the scene run over ranges", sweep_arguments),
    "search": ("several good layouts that differ, within ranges", search_arguments),
    "tolerance": ("how far every figure may be off, and what to measure again", tolerance_arguments),
    "orient": ("upright, inverted or lying: what each does at the head and the desk", orient_arguments),
    "loudspeaker": ("what is understood of a loudspeaker or its data", loudspeaker_arguments),
    "bounces": ("where early sound strikes first, second and third, surface by surface", bounces_arguments),
    "decay": ("how long sound stays and how clear it is, with errors, against the target", decay_arguments),
    "stand": ("what to stack so that the axis is at ear height, and whether it stands", stand_arguments),
    "sheets": ("drawings to scale for the builder, tables of panels and parts", sheets_arguments),
    "report": ("one page to open offline: the room to turn, curves, layouts", report_arguments),
}
"""Commands that tell their own arguments and what runs them."""
UNITS = ("m", "cm", "mm", "in", "ft")


def parser() -> argparse.ArgumentParser:
    """All commands with their arguments."""
    top = argparse.ArgumentParser(
        prog="bounceplan",
        description="Early reflections of studio monitors in 3D: where they strike, how strong, what a change buys.",
        epilog="A scene is a text file of tape measurements. Start with: bounceplan new myroom --box 3.4 4.2 2.4",
    )
    top.add_argument("--version", action="version", version=f"bounceplan {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)

    new = commands.add_parser("new", help="write a commented scene from box dimensions, and a plan to confirm")
    new.add_argument("folder", type=Path, help="folder to make")
    begin = new.add_mutually_exclusive_group(required=True)
    begin.add_argument("--box", nargs=3, metavar=("WIDTH", "DEPTH", "HEIGHT"), help="inside sizes")
    begin.add_argument("--demo", metavar="ROOM", help="a copy of a demo room instead, such as bedroom-on-stands")
    new.add_argument("--units", choices=UNITS, default="m", help="unit of the sizes and of the file")
    new.add_argument("--title", default="", help="what the room is called")
    new.set_defaults(run=new_command)

    check = commands.add_parser("check", help="read a scene and print the set-up sheet; nothing is traced")
    check.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    check.add_argument("--plan", type=Path, metavar="PNG", help="also draw the plan to this file")
    check.set_defaults(run=check_command)

    trace = commands.add_parser("trace", help="the main job: tables, curves, hotspots, pictures, tape coordinates")
    trace.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    _output(trace)
    trace.add_argument("--order", type=int, choices=range(1, 7), help="most surfaces a path may touch")
    trace.set_defaults(run=trace_command)

    compare = commands.add_parser("compare", help="two or more layouts on the same axes, and what changed in words")
    compare.add_argument("scenes", type=Path, nargs="+", help="scene files or folders; the first is the reference")
    _output(compare)
    compare.set_defaults(run=compare_command)

    draw = commands.add_parser("draw", help="draw the pictures of a results folder again")
    draw.add_argument("folders", type=Path, nargs="+", help="results folders; several are drawn side by side")
    draw.add_argument("-o", "--output", type=Path, metavar="DIR", help="where the pictures go")
    draw.set_defaults(run=draw_command)

    absorber = commands.add_parser("absorber", help="what one absorber build-up returns, by frequency and angle")
    absorber.add_argument("build_up", help='a name from the library, or layers: "100 mm wool, 100 mm gap"')
    absorber.add_argument("--picture", type=Path, metavar="PNG", help="also draw it to this file")
    absorber.set_defaults(run=absorber_command)

    for name, (words, add_arguments) in FURTHER.items():
        add_arguments(commands.add_parser(name, help=words))

    schema = commands.add_parser("schema", help="print the JSON Schema of scene files, for editors")
    schema.set_defaults(run=schema_command)
    return top


def _output(command: argparse.ArgumentParser) -> None:
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.add_argument("--no-pictures", action="store_true", help="numbers only")


def run(arguments: list[str]) -> int:
    """Run one command and return its exit code.

    Raises
    ------
    BounceplanError
        For whatever a person can put right.
    """
    chosen = parser().parse_args(arguments)
    command: Command = chosen.run
    return command(chosen)
