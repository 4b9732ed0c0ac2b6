"""The pictures of results folders, of one layout or of several side by side."""

from __future__ import annotations

import argparse
from pathlib import Path

from sim.showing.terminal import progress


def draw_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan draw`."""
    command.add_argument("folders", type=Path, nargs="+", help="results folders; several are drawn side by side")
    command.add_argument("-o", "--output", type=Path, metavar="DIR", help="where the pictures go")
    command.add_argument("--octaves", action="store_true", help="also the maps of surfaces octave by octave")
    command.set_defaults(run=draw_command)


def draw_command(chosen: argparse.Namespace) -> int:
    """Draw the pictures of results folders again."""
    from sim.studies.draw.drawn import draw

    draw(chosen.folders, chosen.output, progress, octaves=chosen.octaves)
    return 0
