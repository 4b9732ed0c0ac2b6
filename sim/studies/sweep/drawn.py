"""The pictures of a sweep, drawn in a process of its own."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

from sim.progress import Report
from sim.showing.child_drawing import as_child, drawn_beside, tell
from sim.showing.folder import adding_to

MODULE: Final = "sim.studies.sweep.drawn"


def draw_sweep(folder: Path, scene: Path, out: Path, report: Report) -> str:
    """Draw what a sweep's folder holds into `out`; returns why that failed, or an empty text.

    `scene` is the scene that was swept.
    """
    with adding_to(out) as additions:
        return drawn_beside(MODULE, "sweep", additions, out, "", [str(folder), str(scene)], report)


def draw_here(_: str, out: Path, sources: list[str]) -> None:
    """Draw what is in a sweep's folder, here and now."""
    from sim.blueprint.reader import read_scene
    from sim.layouts.fields import find_field
    from sim.layouts.plan import SweepTask
    from sim.studies.sweep.findings import find_out
    from sim.studies.sweep.line_picture import draw_sweep_pictures
    from sim.studies.sweep.store import read_sweep

    folder, scene_path = sources
    sweep, scene = read_sweep(folder), read_scene(scene_path)
    if scene.digest != sweep.plan.scene_digest:
        sys.exit(f"{scene_path} has changed since {folder} was made, so they would not belong together: sweep it again")
    fields = [find_field(scene.blueprint, axis.field, tied=sweep.plan.tied) for axis in sweep.plan.axes]
    task = SweepTask(sweep.plan, scene.blueprint, scene.folder, tuple(fields))
    draw_sweep_pictures(sweep, task, find_out(sweep, task), out, tell)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
