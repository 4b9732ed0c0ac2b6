"""Where panels go and what they buy."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from sim.showing.terminal import compile_first, output_arguments, paper_argument, progress, scene_argument, told_scene
from sim.studies.answering import draw_and_list, say_answer

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.responses.plan import Plan


def lines(plan: Plan) -> list[str]:
    """What the command says: one screen; plan.txt has all."""
    from sim.studies.treat.text import screen_lines

    return screen_lines(plan)


def write(plan: Plan, folder: Path, report: Report, _: bool, *, paper: str = "a4") -> None:
    """Write plan, treated scene, results of every layout, drawings and report."""
    from sim.showing.tables import write_traced
    from sim.studies.report import write_page
    from sim.studies.report.report import report as page_on
    from sim.studies.sheets import write as write_drawings
    from sim.studies.sheets.sheet_set import sheets
    from sim.studies.treat.text import write_plan, write_treated_scene

    report("writing the plan and all results")
    write_plan(plan, folder / "plan.txt")
    write_treated_scene(plan, folder / "treated.toml")
    for name, results in (("before", plan.before), ("working", plan.working), ("parked", plan.parked)):
        if results is not None:
            (folder / name).mkdir()
            write_traced(results, folder / name)
    drawings = sheets(plan, paper=paper)
    write_drawings(drawings, folder, report, False)
    report("writing the report")
    write_page(page_on(plan, date=drawings.date), folder / "report.html")


def draw(plan: Plan, place: Path, report: Report) -> str:
    """Draw all layouts, also side by side; returns why some failed, or an empty text."""
    from sim.studies.draw.drawn import draw_folders

    parts = ["before", "working", *(["parked"] if plan.parked is not None else [])]
    return draw_folders([place / part for part in parts], place, report)


# The command.


def treat_arguments(command: argparse.ArgumentParser) -> None:
    """Say what `treat` takes."""
    scene_argument(command)
    output_arguments(command)
    command.add_argument("--panels", type=int, metavar="N", help="most panels in all, in place of the scene's number")
    command.add_argument("--budget", type=float, metavar="X", help="most they may cost, in place of the scene's budget")
    paper_argument(command)
    command.set_defaults(run=treat_command)


def treat_command(chosen: argparse.Namespace) -> int:
    """Plan, trace before and after, and write everything into a results folder."""
    from sim.showing.folder import results_folder
    from sim.studies.saving import write_answer
    from sim.studies.treat.plan import treat

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        plan = treat(told_scene(chosen), progress, panels=chosen.panels, budget=chosen.budget)
        write_answer(plan, folder, report=progress, paper=chosen.paper)
    say_answer(plan)
    draw_and_list(chosen, plan)
    return 0
