"""Which commands there are; what each takes and does is in its question's folder."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Final

from sim import __version__
from sim.studies.absorber import absorber_arguments
from sim.studies.advise import advise_arguments
from sim.studies.bounces import bounces_arguments
from sim.studies.check import check_arguments, new_arguments, schema_arguments
from sim.studies.compare import compare_arguments
from sim.studies.decay import decay_arguments
from sim.studies.draw import draw_arguments
from sim.studies.explain import explain_arguments
from sim.studies.floorplan import floorplan_arguments
from sim.studies.impulse import impulse_arguments
from sim.studies.listen import listen_arguments
from sim.studies.loudspeaker import loudspeaker_arguments
from sim.studies.match import match_arguments
from sim.studies.orient import orient_arguments
from sim.studies.proof import proof_arguments
from sim.studies.record import record_arguments
from sim.studies.report import report_arguments
from sim.studies.scan import scan_arguments
from sim.studies.search import search_arguments
from sim.studies.sheets import sheets_arguments
from sim.studies.signal import signal_arguments
from sim.studies.stand import stand_arguments
from sim.studies.sweep import sweep_arguments
from sim.studies.tolerance import tolerance_arguments
from sim.studies.trace import trace_arguments
from sim.studies.treat import treat_arguments
from sim.studies.view import sketch_arguments, view_arguments

Command = Callable[[argparse.Namespace], int]
COMMANDS: Final[dict[str, tuple[str, Callable[[argparse.ArgumentParser], None]]]] = {
    "new": ("write a commented scene from tape readings, by options or by questions, and a plan", new_arguments),
    "sketch": ("make or change a room on a page: a form, a drawing, a photo of a plan beneath", sketch_arguments),
    "scan": ("make a scene of a phone's scan of a room, held against it and a tape", scan_arguments),
    "floorplan": (
        "a scene from a plan drawing (DXF, SVG): its layers, its outlines, one tape reading",
        floorplan_arguments,
    ),
    "check": ("read a scene and print the set-up sheet; nothing is traced", check_arguments),
    "trace": ("the main job: tables, curves, hotspots, pictures, tape coordinates", trace_arguments),
    "view": ("move things with your hand in a browser and see the reflections follow", view_arguments),
    "advise": ("what to do first: everything you can change, what it buys and what it takes", advise_arguments),
    "compare": ("two or more layouts on the same axes, and what changed in words", compare_arguments),
    "draw": ("draw the pictures of a results folder again", draw_arguments),
    "absorber": ("what one absorber build-up returns, by frequency and angle", absorber_arguments),
    "explain": ("one arrival in words: each loss, and what would remove it", explain_arguments),
    "treat": ("which panels exactly where, what each buys, and drawings for the builder", treat_arguments),
    "sweep": ("how reflections change as numbers of the scene run over ranges", sweep_arguments),
    "search": ("several good layouts that differ, within ranges", search_arguments),
    "tolerance": ("how far every figure may be off, and what to measure again", tolerance_arguments),
    "orient": ("upright, inverted or lying: what each does at the head and on the desk", orient_arguments),
    "loudspeaker": ("what is understood of a monitor or its data", loudspeaker_arguments),
    "bounces": ("where early reflections strike first, second and third, surface by surface", bounces_arguments),
    "decay": ("how long sound stays and how clear it is, with errors, against the target", decay_arguments),
    "signal": ("the swept sine to measure the finished room with", signal_arguments),
    "record": ("play that sine and record it with a sound card, when you say so", record_arguments),
    "impulse": ("an impulse response out of a recording of it, checked", impulse_arguments),
    "match": ("which surface made which measured peak, what is missing, what is not drawn", match_arguments),
    "proof": ("two measurements, before and after: what the panels did against what was promised", proof_arguments),
    "listen": ("a programme as early reflections make it, in files that are equally loud", listen_arguments),
    "stand": ("what to stack so that the axis is at ear height, and whether it stands", stand_arguments),
    "sheets": ("drawings to scale for the builder, tables of panels and parts", sheets_arguments),
    "report": ("one page to open offline: the room to turn, curves, layouts", report_arguments),
    "schema": ("print the JSON Schema of scene files, for editors", schema_arguments),
}
"""What each command is for, and what adds its arguments and says what runs it."""


def parser() -> argparse.ArgumentParser:
    """All commands with their arguments."""
    top = argparse.ArgumentParser(
        prog="bounceplan",
        description="Early reflections of studio monitors in 3D: where they strike, how strong, what a change buys.",
        epilog="A scene is a text file of tape measurements. Start with: bounceplan new myroom --box 3.4 4.2 2.4",
    )
    top.add_argument("--version", action="version", version=f"bounceplan {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, (words, add_arguments) in COMMANDS.items():
        add_arguments(commands.add_parser(name, help=words))
    return top


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
