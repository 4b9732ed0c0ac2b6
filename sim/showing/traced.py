"""The files of one traced scene: everything in results.h5, the tables, and a README that says what was assumed."""

from __future__ import annotations

from pathlib import Path

from sim.responses.records import Results
from sim.showing.archive.results import write_results
from sim.showing.readme import write_readme
from sim.showing.tables import write_arrivals, write_ear_response, write_notches, write_reflection_points


def write_traced(results: Results, folder: Path) -> None:
    """Write results.h5, the tables and a README into a folder that exists.

    Raises
    ------
    OutputError
        If something cannot be written.
    """
    write_results(results, folder / "results.h5")
    write_arrivals(results, folder / "arrivals.csv")
    write_reflection_points(results, folder / "reflection_points.csv")
    write_notches(results, folder / "notches.csv")
    write_ear_response(results, folder / "ear_response.csv")
    write_readme(results, folder / "README.txt")
