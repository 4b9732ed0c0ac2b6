"""Answers saved: every file that a command writes of an answer, for commands and notebooks alike."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from sim.answers import Answer
from sim.studies.sheets.sheet_set import Sheets
from sim.errors import OutputError, PictureError
from sim.pictures import draw_folders, draw_many
from sim.studies.bounces.records import BounceStudy
from sim.studies.decay.records import DecayStudy
from sim.responses.records import Results
from sim.studies.compare.comparison import Comparison, letter_of
from sim.studies.compare.many import compare_many
from sim.studies.orient.study import OrientationStudy
from sim.studies.search.search import Search
from sim.layouts.records import Sweep
from sim.studies.tolerance.tolerance import Tolerance
from sim.responses.plan import Plan
from sim.machine.whole_files import refuse_name
from sim.studies.answer_words import MANY, answer_lines
from sim.showing.folder import results_folder
from sim.showing.words import write_lines
from sim.studies.report.report import ReportPage

Report = Callable[[str], None]


def _silent(_: str) -> None:
    return None


def save(
    answer: Answer | Sheets | ReportPage,
    place: Path | str,
    *,
    replace: bool = False,
    pictures: bool = False,
    report: Report = _silent,
) -> Path:
    """Write what the command writes of an answer, and return where it is.

    Parameters
    ----------
    answer
        What a question of `sim` returned.
    place
        Folder to make; for a report the file, which ends in .html.
    replace
        Replace results that are there; files of others in the folder are kept.
    pictures
        Draw pictures too, which takes longer than the rest.
    report
        Called with a few words at the start of each stage.

    Raises
    ------
    OutputError
        If the place is taken or cannot be written; nothing half-written stays.
    PictureError
        If pictures cannot be drawn on this machine; all else is written then.
    """
    place = Path(os.fspath(place))
    if isinstance(answer, ReportPage):
        refuse_page(place, replace=replace)
        write_page(answer, place)
        return place
    with results_folder(place, overwrite=replace) as folder:
        write_answer(answer, folder, report=report, pictures=pictures)
    trouble = draw_answer(answer, place, report) if pictures else ""
    if trouble:
        raise PictureError(trouble)
    return place


def write_answer(answer: Answer | Sheets, folder: Path, *, report: Report = _silent, pictures: bool = False) -> None:
    """Write the files of an answer into a folder that exists; pictures only of studies that draw their own.

    Raises
    ------
    OutputError
        If there is nothing to save of it, or something cannot be written.
    """
    write = next((made for kind, made in _FILES.items() if isinstance(answer, kind)), _write_words)
    write(answer, folder, report, pictures)


def refuse_page(path: Path, *, replace: bool) -> None:
    """Raise OutputError, before anything is traced, when a report cannot go there."""
    refuse_name(path)
    if path.suffix.lower() not in (".html", ".htm"):
        raise OutputError(f"{path}: a report is a web page; give it a name that ends in .html.")
    if path.is_dir():
        raise OutputError(f"{path}: this is a folder; name a file in it that ends in .html.")
    if not path.parent.is_dir():
        raise OutputError(f"{path}: there is no folder {path.parent}; make it, or choose another place with -o.")
    if path.exists() and not replace:
        raise OutputError(f"{path} exists; choose another name with -o, or add --replace.")


def write_page(page: ReportPage, path: Path) -> None:
    """Write a report to its file; OutputError if that cannot be."""
    from sim.studies.report.report import write_report

    write_report(page.layouts, path, plan=page.plan, date=page.date)


def draw_answer(answer: Answer | Sheets, place: Path, report: Report) -> str:
    """Draw the pictures of traced layouts, now that all numbers are safe; returns why some failed, or an empty text."""
    parts = [place / part for part in layout_parts(answer)] if isinstance(answer, Comparison | Plan) else [place]
    trouble = ""
    if isinstance(answer, Comparison) and len(parts) >= MANY:
        trouble = draw_many(parts, place / "pareto.png", report)
    if isinstance(answer, Results | Comparison | Plan):
        trouble = " ".join(each for each in (trouble, draw_folders(parts, place, report)) if each)
    return trouble


def layout_parts(answer: Answer) -> list[str]:
    """Folders inside a saved answer that hold traced layouts."""
    if isinstance(answer, Comparison):
        return [letter_of(number) for number in range(len(answer.layouts))]
    if isinstance(answer, Plan):
        return ["before", "working", *(["parked"] if answer.parked is not None else [])]
    return []


def _text(folder: Path, name: str, lines: list[str]) -> None:
    write_lines(lines, folder / name)


def _write_words(answer: Any, folder: Path, _: Report, __: bool) -> None:
    _text(folder, "answer.txt", answer_lines(answer))


def _results(results: Results, folder: Path, report: Report, _: bool) -> None:
    from sim.showing.traced import write_traced

    report("writing tables and results.h5")
    write_traced(results, folder)


def _comparison(comparison: Comparison, folder: Path, _: Report, __: bool) -> None:
    from sim.studies.compare.text import comparison_lines, write_comparison, write_ear_comparison
    from sim.studies.compare.text import write_many
    from sim.showing.traced import write_traced

    for letter, results in zip(layout_parts(comparison), comparison.layouts, strict=True):
        (folder / letter).mkdir()
        write_traced(results, folder / letter)
    _text(folder, "comparison.txt", comparison_lines(comparison))
    write_comparison(comparison, folder / "comparison.csv")
    write_ear_comparison(comparison, folder / "comparison_at_the_ear.csv")
    if len(comparison.layouts) >= MANY:
        write_many(compare_many(comparison.layouts), folder)


def _plan(plan: Plan, folder: Path, report: Report, _: bool) -> None:
    write_whole_plan(plan, folder, report)


def write_whole_plan(plan: Plan, folder: Path, report: Report = _silent, *, paper: str = "a4") -> None:
    """Write plan, treated scene, results of every layout, drawings and report into a folder that exists."""
    from sim.studies.sheets.sheet_set import sheets
    from sim.studies.treat.text import write_plan, write_treated_scene
    from sim.studies.report.report import report as page_on
    from sim.showing.traced import write_traced

    report("writing the plan and all results")
    write_plan(plan, folder / "plan.txt")
    write_treated_scene(plan, folder / "treated.toml")
    for name, results in (("before", plan.before), ("working", plan.working), ("parked", plan.parked)):
        if results is not None:
            (folder / name).mkdir()
            write_traced(results, folder / name)
    drawings = sheets(plan, paper=paper)
    write_sheets(drawings, folder, report)
    report("writing the report")
    write_page(page_on(plan, date=drawings.date), folder / "report.html")


def write_sheets(sheets: Sheets, folder: Path, report: Report = _silent) -> None:
    """Write sheets.pdf, sheets.dxf, room.glb, panels.csv, parts.csv and reflection_points.csv into a folder.

    Raises
    ------
    OutputError
        If something cannot be written.
    """
    from sim.studies.sheets.records import Remarks
    from sim.studies.sheets.pdf_picture import draw_sheets
    from sim.studies.sheets.dxf import write_dxf
    from sim.studies.sheets.model3d import write_model3d
    from sim.studies.sheets.panel_tables import write_panels, write_parts
    from sim.showing.words import NOT_JUDGED, assumptions, cautions
    from sim.showing.tables import write_reflection_points

    results, plan = sheets.results, sheets.plan
    report("drawing the sheets")
    remarks = Remarks(assumptions(results), NOT_JUDGED, cautions(results))
    draw_sheets(results, folder / "sheets.pdf", sheets.paper, sheets.date, remarks, plan)
    report("writing the CAD file, the 3D model and the tables of panels and parts")
    write_dxf(results, folder / "sheets.dxf", sheets.date)
    write_model3d(results, folder / "room.glb")
    write_panels(results, folder / "panels.csv", plan)
    write_parts(results, folder / "parts.csv", plan)
    write_reflection_points(results, folder / "reflection_points.csv")


def _sweep(sweep: Sweep, folder: Path, _: Report, __: bool) -> None:
    from sim.studies.sweep.text import write_sweep, write_sweep_summary

    write_sweep(sweep, folder / "sweep.csv")
    write_sweep_summary(sweep, folder / "sweep_summary.csv")
    _text(folder, "sweep.txt", answer_lines(sweep))


def _search(search: Search, folder: Path, _: Report, __: bool) -> None:
    from sim.studies.search.text import write_layout_scenes, write_layouts

    _text(folder, "search.txt", answer_lines(search))
    write_layouts(search, folder / "layouts.csv")
    write_layout_scenes(search, folder)


def _tolerance(found: Tolerance, folder: Path, report: Report, pictures: bool) -> None:
    from sim.studies.tolerance.tables import write_tolerance_tables

    _text(folder, "tolerance.txt", answer_lines(found))
    write_tolerance_tables(found, folder)
    if pictures:
        from sim.studies.tolerance.picture import draw_tolerance

        report("drawing")
        draw_tolerance(found, folder / "tolerance.png")


def _orientation(study: OrientationStudy, folder: Path, report: Report, pictures: bool) -> None:
    from sim.studies.orient.tables import write_orientation

    _text(folder, "orientation.txt", answer_lines(study))
    write_orientation(study, folder)
    if pictures:
        from sim.studies.trace.pictures import file_name
        from sim.studies.orient.picture import draw_orientation

        for number, name in enumerate(study.names, start=1):
            report(f"drawing {name}")
            draw_orientation(study, name, folder / f"poses_{number}_{file_name(name)}.png")


def _decay(study: DecayStudy, folder: Path, report: Report, pictures: bool) -> None:
    from sim.studies.decay.tables import write_decay_file
    from sim.studies.decay.text import write_decay_readme
    from sim.studies.decay.tables import write_decay_tables

    _text(folder, "decay.txt", answer_lines(study))
    write_decay_tables(study, folder)
    write_decay_file(study, folder / "decay.h5")
    write_decay_readme(study, folder / "README.txt")
    if pictures:
        from sim.studies.decay.picture import draw_decay

        report("drawing")
        draw_decay(study, folder / "decay.png")


def _bounces(study: BounceStudy, folder: Path, report: Report, pictures: bool) -> None:
    from sim.studies.bounces.text import write_bounces
    from sim.studies.bounces.text import write_bounce_readme

    write_bounces(study, folder)
    write_bounce_readme(study, folder / "README.txt")
    if pictures:
        from sim.studies.bounces.picture import draw_bounces

        report("drawing")
        draw_bounces(study, folder)


def _sheets(sheets: Sheets, folder: Path, report: Report, _: bool) -> None:
    write_sheets(sheets, folder, report)


_FILES: Final[dict[type, Callable[[Any, Path, Report, bool], None]]] = {
    Results: _results,
    Comparison: _comparison,
    Plan: _plan,
    Sweep: _sweep,
    Search: _search,
    Tolerance: _tolerance,
    OrientationStudy: _orientation,
    DecayStudy: _decay,
    BounceStudy: _bounces,
    Sheets: _sheets,
}
