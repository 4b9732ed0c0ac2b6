"""Upright, inverted or lying: what each orientation does at the head and the desk."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.orient.study import OrientationStudy


def lines(study: OrientationStudy) -> list[str]:
    """What the command says."""
    from sim.studies.orient.text import orientation_lines

    return orientation_lines(study)


def write(study: OrientationStudy, folder: Path, report: Report, pictures: bool) -> None:
    """Write the study in words, its tables, and a picture for each loudspeaker."""
    from sim.showing.words import write_lines
    from sim.studies.orient.tables import write_orientation

    write_lines(lines(study), folder / "orientation.txt")
    write_orientation(study, folder)
    if pictures:
        from sim.showing.child_drawing import file_name
        from sim.studies.orient.picture import draw_orientation

        for number, name in enumerate(study.names, start=1):
            report(f"drawing {name}")
            draw_orientation(study, name, folder / f"poses_{number}_{file_name(name)}.png")
