"""How long sound stays and how clear it is, with errors, against the target."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.decay.records import DecayStudy


def lines(study: DecayStudy) -> list[str]:
    """What the command says."""
    from sim.studies.decay.text import decay_lines

    return decay_lines(study)


def write(study: DecayStudy, folder: Path, report: Report, pictures: bool) -> None:
    """Write the study in words, its tables, decay.h5, README.txt and its picture."""
    from sim.showing.words import write_lines
    from sim.studies.decay.tables import write_decay_file, write_decay_tables
    from sim.studies.decay.text import write_decay_readme

    write_lines(lines(study), folder / "decay.txt")
    write_decay_tables(study, folder)
    write_decay_file(study, folder / "decay.h5")
    write_decay_readme(study, folder / "README.txt")
    if pictures:
        from sim.studies.decay.picture import draw_decay

        report("drawing")
        draw_decay(study, folder / "decay.png")
