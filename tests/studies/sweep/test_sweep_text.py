"""What a sweep says: ranges, thresholds, what nothing helps; and its two tables."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.layouts.plan import SweepTask
from sim.layouts.records import DONE, IMPOSSIBLE, Sweep, best_point, best_regions, merit_db
from sim.studies.sweep.findings import find_out, limit_lines
from sim.studies.sweep.text import sweep_lines, write_sweep, write_sweep_summary
from tests.studies.sweep.sweep_scenes import BRIDGE, STANDS, planned, swept, table


def said(task: SweepTask, sweep: Sweep | None = None) -> str:
    known = sweep or swept(task)
    return "\n".join(sweep_lines(known, task, find_out(known, task)))


def with_merit(task: SweepTask, early: list[float]) -> Sweep:
    """A sweep whose early levels are made up; nan stands for an impossible layout."""
    sweep = swept(task)
    levels = np.tile(np.array(early)[:, None], (1, 2))
    state = np.where(np.isnan(early), IMPOSSIBLE, DONE)
    reasons = {int(point): "made up: no; none." for point in np.flatnonzero(np.isnan(early))}
    return replace(sweep, state=state, reasons=reasons, figures=replace(sweep.figures, early_db=levels))


def test_a_desk_that_no_tilt_clears_is_said_in_plain_words() -> None:
    """The far edge rises, the point moves nearer to the seat and stays on the top."""
    text = said(planned(STANDS, {"desk.tilt": "0:15:1"}))
    assert "Tilting this desk by up to 15 degrees does not clear the point" in text
    assert "the desk top reflects left and right throughout" in text
    assert "Nothing in this range helps" in text


def test_a_desk_that_is_shallow_enough_is_not_said_to_keep_the_point() -> None:
    task = planned(STANDS, {"desk.depth": "0.15:0.4:5cm"})
    text = said(task)
    assert "does not clear the point:" not in text
    assert "desk.depth = 0.277 m: the tweeter of left and right appears on the desk top" in text


def test_a_console_threshold_is_said_to_the_millimetre() -> None:
    assert "console.depth = 0.57" in said(planned(BRIDGE, {"console.depth": "0.5:0.65:5cm"}))


def test_settings_that_differ_by_less_than_half_a_decibel_are_one_range() -> None:
    task = planned(table(), {"left.tilt": "0:8:1"})
    sweep = with_merit(task, [0.0, -3.0, -5.7, -6.0, -5.6, -3.0, -5.9, -2.0, -1.0])
    assert best_point(sweep) == 3
    regions = best_regions(sweep)
    assert [(one.ranges, one.points) for one in regions] == [(((2.0, 4.0),), 3), (((6.0, 6.0),), 1)]
    text = said(task, sweep)
    assert "all within 0.5 dB of the best (-6 dB) are called equal" in text
    assert "  left.tilt from 2 degrees to 4 degrees: 3 settings" in text
    assert "  or left.tilt = 6 degrees: 1 setting" in text


def test_the_louder_loudspeaker_judges_a_setting() -> None:
    sweep = swept(planned(STANDS, {"left.tilt": "0,5"}, tied=False))
    assert merit_db(sweep) == pytest.approx(sweep.figures.early_db.max(axis=1))


def test_regions_do_not_reach_over_impossible_settings_and_say_when_they_end_with_the_range() -> None:
    task = planned(table(), {"left.tilt": "0:4:1"})
    sweep = with_merit(task, [-6.0, -6.0, float("nan"), -6.0, 0.0])
    assert [one.points for one in best_regions(sweep)] == [2, 1]
    text = said(task, sweep)
    assert "left.tilt from 0 degrees to 1 degrees, an end of its range: look beyond it" in text
    assert "Impossible: 1 of 5" in text
    assert "left.tilt = 2 degrees: made up: no; none." in text


def test_a_region_of_two_fields_says_whether_all_combinations_belong_to_it() -> None:
    task = planned(table(), {"left.tilt": "0,1,2", "desk.height": "0.6,0.7"})
    block = with_merit(task, [-6, -6, -6, -6, 0, 0])
    (one,) = best_regions(block)
    assert (one.points, one.full, one.ranges) == (4, True, ((0.0, 1.0), (0.6, 0.7)))
    corner = with_merit(task, [-6, -6, -6, 0, 0, 0])
    assert not best_regions(corner)[0].full
    assert "not every combination inside" in said(task, corner)


def test_nothing_helps_is_said_when_the_scene_is_as_good_as_the_best() -> None:
    text = said(planned(STANDS, {"left.tilt": "0:12:4"}))
    assert "Nothing in this range helps: no setting is better by more than 0.5 dB than the scene now." in text


def test_limits_are_told() -> None:
    task = planned(STANDS, {"left.tilt": "-20:20:5", "desk.height": "0.74,1.1"})
    lines = {(one.axis, one.value): one.words for one in limit_lines(swept(task, []), task)}
    assert lines[0, 15.0] == lines[0, -15.0] == "beyond 15 degrees of tilt a cabinet needs a strap"
    assert lines[0, 0.0] == "the scene as it stands"
    assert {lines[1, 1.1], lines[1, 0.74]} >= {"standing height"}
    assert (1, 0.74) in lines


def test_when_all_is_impossible_that_is_what_is_said() -> None:
    text = said(planned(table(), {"desk.height": "-1,-2"}))
    assert "Impossible: 2 of 2" in text
    assert text.endswith("None of the layouts is possible.")


def test_half_a_sweep_says_what_is_missing() -> None:
    task = planned(table(), {"left.tilt": "0:3:1"})
    text = said(task, swept(task, [0, 1]))
    assert "2 of them are not worked out yet; give the same command again to continue" in text


def test_values_are_told_in_the_unit_of_the_scene() -> None:
    from sim.blueprint.reader import parse_scene
    from tests.studies.sweep.sweep_scenes import TABLE

    centimetres = 'units = "cm"\n' + TABLE
    for number in ("3.0", "4.0", "2.5", "2.0", "1.5", "1.2", "1.0", "1.1", "0.9", "1.8", "0.5", "0.7"):
        centimetres = centimetres.replace(f" {number}", f" {float(number) * 100:g}")
        centimetres = centimetres.replace(f"[{number}", f"[{float(number) * 100:g}")
    text = said(planned(parse_scene(centimetres, Path("nowhere")), {"desk.height": "60:70:5"}))
    assert "desk.height: 3 values from 60 cm to 70 cm" in text


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_summary_has_a_row_for_every_layout(tmp_path: Path) -> None:
    task = planned(STANDS, {"left.from_front": "0.42,0.6", "desk.height": "74cm,120cm"})
    sweep = swept(task)
    write_sweep_summary(sweep, tmp_path / "short.csv")
    read = rows(tmp_path / "short.csv")
    assert [row["state"] for row in read] == ["done", "done", "done", "impossible"]
    assert read[3]["reason"] == sweep.reasons[3]
    assert read[3]["early_db left"] == ""
    assert [row["desk.height_m"] for row in read] == ["0.74", "1.2", "0.74", "1.2"]
    assert float(read[1]["early_db left"]) == pytest.approx(sweep.figures.early_db[1, 0], abs=0.006)
    difference = sweep.figures.early_db[2, 0] - sweep.figures.early_db[2, 1]
    assert float(read[2]["left_right_db"]) == pytest.approx(difference, abs=0.006)


def test_the_long_table_has_a_row_for_every_surface_with_a_point(tmp_path: Path) -> None:
    sweep = swept(planned(STANDS, {"left.tilt": "0,4"}))
    write_sweep(sweep, tmp_path / "long.csv")
    read = rows(tmp_path / "long.csv")
    plan, figures = sweep.plan, sweep.figures
    for row in read:
        point, s, f = (
            int(row["point"]),
            plan.loudspeakers.index(row["loudspeaker"]),
            plan.surfaces.index(row["surface"]),
        )
        d = plan.drivers[s].index(row["driver"])
        assert float(row["left.tilt_deg"]) == plan.values(point)[0]
        if row["worst_db"]:
            assert float(row["worst_db"]) == pytest.approx(figures.worst_db[point, s, f], abs=0.006)
            assert float(row["level_1000_hz_db"]) == pytest.approx(figures.level_db[point, s, f, 4], abs=0.006)
        assert float(row["clear_m"]) == pytest.approx(np.nanmax(figures.clear_m[point, s, :, f]), abs=6e-5)
        assert (row["hidden"] == "yes") == bool(figures.hidden[point, s, d, f])
    arriving = int(np.isfinite(figures.delay_ms).sum())
    assert sum(row["worst_db"] != "" for row in read) == arriving
