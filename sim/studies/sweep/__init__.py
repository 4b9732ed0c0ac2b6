"""How reflections change as numbers of the scene run over ranges."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from sim.layouts.records import Sweep
    from sim.progress import Report


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
