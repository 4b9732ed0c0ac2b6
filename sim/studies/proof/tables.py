"""Tables of a proof for a spreadsheet: each panel octave by octave, and each monitor against the target."""

from __future__ import annotations

from pathlib import Path

from sim.showing.numbers import number_cell, write_records
from sim.studies.proof.records import Highest, Proof


def write_proof_tables(found: Proof, folder: Path) -> None:
    """Write panel_proof.csv and target_proof.csv.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    panels = [
        {
            "panel": one.panel,
            "surface": one.surface,
            "octave_hz": number_cell(each.frequency_hz, 0),
            "promised_db": number_cell(each.promised_db, 1),
            "visible_db": number_cell(each.visible_db, 1),
            "measured_db": number_cell(each.measured_db, 1),
            "error_db": number_cell(each.error_db, 1),
            "readings": str(each.readings),
            "verdict": each.verdict,
            "verdict_of_the_panel": one.verdict,
        }
        for one in found.panels
        for each in one.octaves
    ]
    level = found.results.scene.blueprint.target.level_db
    targets = [
        {"loudspeaker": one.loudspeaker, "listener": one.listener, "target_db": number_cell(level, 1)}
        | {"verdict": one.met}
        | _highest("before", one.before)
        | _highest("after", one.after)
        | _highest("promised", one.promised)
        for one in found.targets
    ]
    write_records(folder / "panel_proof.csv", panels, ["panel", "surface", "octave_hz"])
    write_records(folder / "target_proof.csv", targets, ["loudspeaker", "listener", "target_db"])


def _highest(when: str, one: Highest) -> dict[str, str]:
    return {
        f"{when}_db": number_cell(one.level_db, 1),
        f"{when}_octave_hz": number_cell(one.frequency_hz, 0),
        f"{when}_time_ms": number_cell(one.time_ms, 2),
        f"{when}_via": one.via,
    }
