"""Plan the treatment of a room: which panels, exactly where, what that buys, and the papers."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from .screen import compile_first, draw_and_list, progress, say
from .sheets import paper_argument

if TYPE_CHECKING:
    from ..treatment.records import Plan

PLAN_TEXT = "plan.txt"
TREATED_SCENE = "treated.toml"


def treat_arguments(command: argparse.ArgumentParser) -> None:
    """Say what `treat` takes."""
    command.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--panels", type=int, metavar="N", help="most panels in all, in place of the scene's number")
    command.add_argument("--budget", type=float, metavar="X", help="most they may cost, in place of the scene's budget")
    paper_argument(command)
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.add_argument("--no-pictures", action="store_true", help="numbers and words only")
    command.set_defaults(run=treat_command)


def treat_command(chosen: argparse.Namespace) -> int:
    """Plan, trace before and after, and write everything into a results folder."""
    from ..blueprint.reader import read_scene
    from ..pipeline import trace_scene
    from ..treatment.plan import plan_treatment
    from ..writers.folder import results_folder
    from ..writers.plan_text import plan_lines

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        progress("reading the scene")
        scene = read_scene(chosen.scene)
        plan = plan_treatment(scene, trace_scene, progress, panels=chosen.panels, budget=chosen.budget)
        progress("writing the plan and all results")
        parts = _write(plan, folder)
        _papers(plan, folder, chosen.paper)
    for line in plan_lines(plan):
        say(line)
    draw_and_list(chosen, [chosen.output / part for part in parts])
    return 0


def _write(plan: Plan, folder: Path) -> list[str]:
    """Write plan, treated scene and the results of every layout; returns the names of their folders."""
    from ..pipeline import save
    from ..writers.plan_text import write_plan, write_treated_scene

    write_plan(plan, folder / PLAN_TEXT)
    write_treated_scene(plan, folder / TREATED_SCENE)
    layouts = {"before": plan.before, "working": plan.working, "parked": plan.parked}
    parts = [name for name, results in layouts.items() if results is not None]
    for name in parts:
        results = layouts[name]
        if results is not None:
            (folder / name).mkdir()
            save(results, folder / name)
    return parts


def _papers(plan: Plan, folder: Path, paper: str) -> None:
    """Write drawings, tables of panels and parts, the 3D model and the report of a plan."""
    from datetime import date

    from ..writers.report import write_report
    from .sheets import write_papers

    today = date.today()
    write_papers(plan.working, folder, paper, today, plan, progress)
    progress("writing the report")
    write_report([], folder / "report.html", plan=plan, date=today)
