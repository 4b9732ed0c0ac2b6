"""How reflections change as numbers of the scene run over ranges."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import SceneError
from sim.progress import Report
from sim.showing.child_drawing import as_child, drawn_beside, tell
from sim.showing.folder import adding_to
from sim.showing.terminal import (
    compile_first,
    list_files,
    processes_argument,
    progress,
    say,
    scene_argument,
    told_scene,
)

if TYPE_CHECKING:
    from sim.layouts.records import Sweep


def lines(sweep: Sweep) -> list[str]:
    """What the command says."""
    return sweep.findings.splitlines() or [sweep.headline()]


def write(sweep: Sweep, folder: Path, _: Report, __: bool) -> None:
    """Write the tables of a sweep and what they say."""
    from sim.showing.words import write_lines
    from sim.studies.sweep.text import write_sweep, write_sweep_summary

    write_sweep(sweep, folder / "sweep.csv")
    write_sweep_summary(sweep, folder / "sweep_summary.csv")
    write_lines(lines(sweep), folder / "sweep.txt")


# The command.

SECONDS_EACH: Final = 0.025
"""What one layout takes a core, for the estimate before anything is measured."""


def sweep_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan sweep`."""
    scene_argument(command)
    command.add_argument(
        "--vary",
        action="append",
        required=True,
        metavar="FIELD=VALUES",
        help="what varies: left.tilt=-10:15:1 (from:to:step), ear.up=1.1,1.2,1.3 or desk.depth=50cm:90cm:5cm;"
        " lengths in the unit of the scene unless they bring their own; give it again for a grid",
    )
    command.add_argument(
        "--together", action="store_true", help="let the values run side by side, first with first, not as a grid"
    )
    command.add_argument("--untied", action="store_true", help="left and right move on their own, not as mirror images")
    command.add_argument(
        "-o",
        "--output",
        type=Path,
        required=True,
        metavar="DIR",
        help="folder to make; one that holds part of the same sweep is continued",
    )
    command.add_argument("--replace", action="store_true", help="begin anew in a results folder that is already there")
    processes_argument(command)
    command.add_argument(
        "--scheduler", default="", metavar="ADDRESS", help="let the Dask cluster at this address do the work"
    )
    command.add_argument("--no-pictures", action="store_true", help="numbers only")
    command.set_defaults(run=sweep_command)


def sweep_command(chosen: argparse.Namespace) -> int:
    """Sweep a scene; exit code 2 when none of its layouts is possible."""
    from sim.blueprint.reader import read_scene
    from sim.layouts.plan import plan_sweep
    from sim.layouts.values import asked
    from sim.machine.processes import all_cores
    from sim.machine.whole_files import refuse_name
    from sim.showing.folder import refuse_folder
    from sim.studies.sweep.run import run_sweep, write_findings

    if chosen.processes is not None and chosen.processes < 1:
        raise SceneError("--processes", f"it is {chosen.processes}", "give 1 or more")
    compile_first()
    scene = read_scene(told_scene(chosen))
    if chosen.replace:
        refuse_folder(chosen.output, overwrite=True, reads=[chosen.scene])
    else:
        refuse_name(chosen.output)
    task = plan_sweep(scene, asked(chosen.vary), tied=not chosen.untied, together=chosen.together)
    points = task.plan.points
    if not chosen.scheduler:
        seconds = points * SECONDS_EACH / min(chosen.processes or all_cores(), all_cores())
        progress(f"{points} layouts, about {in_words(seconds)} on this machine")
    try:
        run_sweep(
            task,
            chosen.output,
            processes=chosen.processes,
            scheduler=chosen.scheduler,
            replace=chosen.replace,
            progress=_reported,
            say=progress,
        )
    except KeyboardInterrupt:
        progress("what is finished is safe; give the same command again to continue")
        raise
    progress("looking for the best and for thresholds")
    lines, found = write_findings(task, chosen.output, progress)
    for line in lines:
        say(line)
    if found.best >= 0 and not chosen.no_pictures:
        trouble = draw_sweep(chosen.output, chosen.scene, chosen.output, progress, chosen.set or "")
        if trouble:
            say(f"some pictures could not be drawn; all numbers are there. {trouble}")
    say("")
    list_files(chosen.output)
    return 0 if found.best >= 0 else 2


def in_words(seconds: float) -> str:
    """A time for people: "5 s", "3 min", "2.5 h"."""
    if seconds < 90.0:
        return f"{max(seconds, 1.0):.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"


def _reported(done: int, total: int, left_s: float) -> None:
    """Progress on one line of a screen, or a line each where the output is kept."""
    words = f"{done} of {total} layouts, {in_words(left_s)} left" if done < total else f"{done} of {total} layouts"
    if sys.stderr.isatty():
        print(f"\r  ... {words:<50}", end="\n" if done == total else "", file=sys.stderr, flush=True)  # noqa: T201
    else:
        progress(words)


# The pictures of a sweep, drawn in a process of its own.

MODULE: Final = "sim.studies.sweep"


def draw_sweep(folder: Path, scene: Path, out: Path, report: Report, plays: str = "") -> str:
    """Draw what a sweep's folder holds into `out`; returns why that failed, or an empty text.

    `scene` is the scene that was swept, `plays` the set of monitors if one was named.
    """
    with adding_to(out) as additions:
        return drawn_beside(MODULE, ["sweep"], additions, out, "", [str(folder), str(scene), plays], report)


def draw_here(_: str, out: Path, sources: list[str]) -> None:
    """Draw what is in a sweep's folder, here and now."""
    from sim.blueprint.reader import play, read_scene
    from sim.layouts.fields import find_field
    from sim.layouts.plan import SweepTask
    from sim.studies.sweep.findings import find_out
    from sim.studies.sweep.line_picture import draw_sweep_pictures
    from sim.studies.sweep.store import read_sweep

    folder, scene_path, plays = sources
    sweep, scene = read_sweep(folder), play(scene_path, plays) if plays else read_scene(scene_path)
    if scene.digest != sweep.plan.scene_digest:
        sys.exit(f"{scene_path} has changed since {folder} was made, so they would not belong together: sweep it again")
    fields = [find_field(scene.blueprint, axis.field, tied=sweep.plan.tied) for axis in sweep.plan.axes]
    task = SweepTask(sweep.plan, scene.blueprint, scene.folder, tuple(fields))
    draw_sweep_pictures(sweep, task, find_out(sweep, task), out, tell)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
