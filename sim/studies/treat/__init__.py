"""Where panels go and what they buy."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.responses.plan import Plan


def lines(plan: Plan) -> list[str]:
    """What the command says."""
    from sim.studies.treat.text import plan_lines

    return plan_lines(plan)


def write(plan: Plan, folder: Path, report: Report, _: bool, *, paper: str = "a4") -> None:
    """Write plan, treated scene, results of every layout, drawings and report."""
    from sim.showing.traced import write_traced
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
