"""How far every figure may be off, and what to measure again."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.tolerance.tolerance import Tolerance


def lines(found: Tolerance) -> list[str]:
    """What the command says."""
    from sim.studies.tolerance.text import tolerance_lines

    return tolerance_lines(found)


def write(found: Tolerance, folder: Path, report: Report, pictures: bool) -> None:
    """Write the study in words, its tables and its picture."""
    from sim.showing.words import write_lines
    from sim.studies.tolerance.tables import write_tolerance_tables

    write_lines(lines(found), folder / "tolerance.txt")
    write_tolerance_tables(found, folder)
    if pictures:
        from sim.studies.tolerance.picture import draw_tolerance

        report("drawing")
        draw_tolerance(found, folder / "tolerance.png")
