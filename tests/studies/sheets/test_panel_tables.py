"""Numbers in the tables of panels are measured again from the corners in the room."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.units import text_to_metres
from sim.errors import OutputError
from sim.responses.plan import Decay, Plan, PlannedPanel
from sim.responses.records import Results
from sim.studies.sheets.panel_tables import write_panels, write_parts
from tests.studies.sheets.treated_rooms import lopsided, sloping


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def panels(traced_attic: Results, folder: Path, plan: Plan | None = None) -> list[dict[str, str]]:
    write_panels(traced_attic, folder / "panels.csv", plan)
    return rows_of(folder / "panels.csv")


def plan_of(traced_attic: Results) -> Plan:
    """A plan of two steps whose panels are the first two of the scene."""
    records = traced_attic.scene.blueprint.panels
    planned = tuple(
        PlannedPanel(record, "stock panel", step, gain, ("left at 4.9 ms: -7 to -18 dB",), 500.0)
        for record, step, gain in zip(records[:2], (1, 2), (3.25, 1.5), strict=True)
    )
    bands = np.array([500.0, 1000.0])
    decay = Decay(bands, bands * 0.0 + 0.5, bands * 0.0 + 0.4, 0.3, ())
    return Plan(traced_attic, traced_attic, None, planned, (), decay, "", (), (), (), (), "", ())


def test_each_panel_is_where_its_corners_are(tmp_path: Path) -> None:
    for results in (lopsided(), sloping()):
        for row, panel in zip(panels(results, tmp_path), results.built.panels, strict=True):
            corners = panel.corners_m
            for axis, key in enumerate(("from_front", "from_left", "up")):
                assert float(row[f"{key}_low_m"]) == pytest.approx(corners[:, axis].min(), abs=6e-5)
                assert float(row[f"{key}_high_m"]) == pytest.approx(corners[:, axis].max(), abs=6e-5)
            sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
            assert sorted([float(row["width_m"]), float(row["height_m"])]) == pytest.approx(sorted(sides[:2]), abs=6e-5)
            diagonals = sorted(np.linalg.norm(corners[2:] - corners[:2], axis=1))
            reported = sorted([float(row["diagonal_rising_m"]), float(row["diagonal_falling_m"])])
            assert reported == pytest.approx(diagonals, abs=6e-5)


def test_edges_and_centres_are_measured_from_named_lines(tmp_path: Path) -> None:
    left, right, cloud, front = panels(lopsided(), tmp_path)
    assert (left["number"], left["name"], left["surface"]) == ("P1", "left panel", "left wall")
    assert (left["tape_1_from"], left["tape_2_from"]) == ("up from the floor", "from the front wall")
    assert [left[f"tape_2_{edge}_text"] for edge in ("start", "end", "centre")] == ["700 mm", "1300 mm", "1000 mm"]
    assert [left[f"tape_1_{edge}_text"] for edge in ("start", "end", "centre")] == ["610 mm", "1810 mm", "1210 mm"]
    assert [right[f"tape_2_{edge}_m"] for edge in ("start", "end")] == ["1.0000", "2.2000"]
    assert cloud["tape_1_from"] == "from the front wall" and cloud["tape_2_from"] == "from the left wall"
    assert [cloud[f"tape_2_{edge}_m"] for edge in ("start", "end")] == ["0.5000", "1.1000"]
    assert front["tape_2_from"] == "from the left wall"
    centre = lopsided().built.panels[0].corners_m.mean(axis=0)
    assert left["corner_1"] == "front left floor" or left["corner_1"] == "front left ceiling"
    up = 0.0 if left["corner_1"].endswith("floor") else 2.5
    assert float(left["corner_1_to_centre_m"]) == pytest.approx(np.linalg.norm(centre - [0.0, 0.0, up]), abs=6e-5)


def test_texts_are_the_numbers_in_feet_and_inches(tmp_path: Path) -> None:
    (row,) = panels(sloping(), tmp_path)
    assert row["tape_1_from"] == "up the slope from the left knee wall"
    assert float(row["tape_1_start_m"]) == pytest.approx(0.60 * np.sqrt(2.0), abs=6e-5)
    texts = {key.removesuffix("_text"): value for key, value in row.items() if key.endswith("_text")}
    assert len(texts) > 15
    for key, words in texts.items():
        if words not in ("0 in", ""):
            assert text_to_metres(words) == pytest.approx(float(row[f"{key}_m"]), abs=0.0254 / 32 + 1e-4), key


def test_depth_mass_and_how_it_is_held(tmp_path: Path) -> None:
    left, right, cloud, front = panels(lopsided(), tmp_path)
    assert (left["thickness_m"], left["air_behind_m"], left["face_off_surface_m"]) == ("0.1000", "0.0500", "0.1500")
    assert (cloud["mass_kg"], cloud["mass_is_estimate"], cloud["overhead"]) == ("12.50", "no", "yes")
    assert left["mass_is_estimate"] == "yes"
    assert (right["held_by"], right["movable"], right["price"], right["note"]) == (
        "stand",
        "yes",
        "85.50",
        "Roll it away.",
    )
    assert (right["fixing_points"], front["price"]) == ("", "")
    assert (cloud["fixings"], cloud["fixing_points"]) == ("four eye bolts into joists, tethers", "4")
    assert float(cloud["rated_at_least_n_each"]) == pytest.approx(5.0 * 12.5 * 9.81 / 3.0, abs=0.6)


def test_parts_add_up(tmp_path: Path) -> None:
    write_parts(lopsided(), tmp_path / "parts.csv")
    rows = rows_of(tmp_path / "parts.csv")
    pieces = [row for row in rows if row["kind"] == "panel"]
    assert sum(int(row["count"]) for row in pieces) == 4
    together = sum(float(row["mass_all_kg"]) for row in pieces)
    assert together == pytest.approx(sum(panel.mass_kg for panel in lopsided().built.panels), abs=0.05)
    for row in rows:
        if row["price_each"]:
            assert float(row["price_all"]) == pytest.approx(int(row["count"]) * float(row["price_each"]))
        else:
            assert row["price_all"] == ""
    fixings = [row for row in rows if row["kind"] == "fixings"]
    assert all("factor of safety" in row["note"] and "common practice, no source" in row["note"] for row in fixings)
    assert {row["kind"] for row in rows} == {"panel", "fixings", "tether", "stand"}


def test_a_plan_adds_stock_and_gains(tmp_path: Path) -> None:
    plan = plan_of(lopsided())
    left, right, cloud, _ = panels(lopsided(), tmp_path, plan)
    assert (left["stock"], left["step"], left["step_gain_db"], left["works_from_hz"]) == (
        "stock panel",
        "1",
        "3.25",
        "500",
    )
    assert right["step"] == "2" and left["covers"] == "left at 4.9 ms: -7 to -18 dB"
    assert cloud["step"] == ""
    write_parts(lopsided(), tmp_path / "parts.csv", plan)
    rows = {row["panels"]: row for row in rows_of(tmp_path / "parts.csv") if row["kind"] == "panel"}
    assert rows["P1"]["name"] == "stock panel" and rows["P1"]["note"] == "step 1: 3.2 dB off the measure"


def test_without_panels_there_are_headings_only(tmp_path: Path) -> None:
    bare = replace(lopsided(), built=replace(lopsided().built, panels=()))
    assert panels(bare, tmp_path) == []
    assert (tmp_path / "panels.csv").read_text(encoding="utf-8").startswith("number,name,surface")
    write_parts(bare, tmp_path / "parts.csv")
    assert rows_of(tmp_path / "parts.csv") == []


def test_a_table_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_panels(lopsided(), tmp_path / "nowhere" / "panels.csv")
