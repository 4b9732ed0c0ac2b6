"""Where early sound strikes first, second and third."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.bounces.records import BounceStudy


def lines(study: BounceStudy) -> list[str]:
    """What the command says."""
    from sim.studies.bounces.text import bounce_lines

    return bounce_lines(study)


def write(study: BounceStudy, folder: Path, report: Report, pictures: bool) -> None:
    """Write the tables of a study, README.txt and its pictures."""
    from sim.studies.bounces.text import write_bounce_readme, write_bounces

    write_bounces(study, folder)
    write_bounce_readme(study, folder / "README.txt")
    if pictures:
        from sim.studies.bounces.picture import draw_bounces

        report("drawing")
        draw_bounces(study, folder)
