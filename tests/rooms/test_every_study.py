"""Sweeps, orientations, bounces, tolerances and plans of a lopsided room against those of its mirror image."""

from __future__ import annotations

import copy
import csv
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w

from sim.blueprint.reader import SceneFile, parse_scene
from sim.pipeline import trace_scene
from sim.placement.built_scene import build_scene
from sim.studies.bounces.maps import study_bounces
from sim.studies.bounces.text import write_bounces
from sim.studies.orient.drivers import read_orientations
from sim.studies.orient.findings import write_orientation
from sim.studies.orient.study import study_orientation
from sim.studies.sweep.run import sweep
from sim.studies.tolerance.tables import write_tolerance_tables
from sim.studies.tolerance.tolerance import tolerance
from sim.studies.treat.plan import plan_treatment
from tests.rooms.lopsided import SCENE, WIDTH, mirrored, swapped

Row = dict[str, str]
AWAY_FROM_LEFT = ("right_of_ear_m", "null_across_m", "lobe_right_deg", "roll_deg")
"""Columns that count to the right from the middle: the mirrored room has them with the other sign."""


def quiet(*_: Any) -> None:
    return None


@cache
def scene(mirror: bool, bare: bool = False) -> SceneFile:
    text = copy.deepcopy(SCENE)
    text["method"]["order"] = 1
    if bare:
        del text["panels"]
    return parse_scene(tomli_w.dumps(mirrored(text) if mirror else text), Path())


def table(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def turned(row: Row) -> Row:
    made = {}
    for key, cell in row.items():
        if key in AWAY_FROM_LEFT and cell:
            made[key] = f"{-float(cell):g}"
        elif key == "from_left_m" and cell:
            made[key] = str(WIDTH - float(cell))
        else:
            made[key] = swapped(cell)
    return made


def differences(one: Row, other: Row, near: float) -> list[str]:
    odd = []
    for key, cell in one.items():
        try:
            same = abs(float(cell) - float(other[key])) <= near * (10.0 if key.endswith(("_db", "_deg")) else 1.0)
        except ValueError:
            same = cell == other[key]
        odd += [key] * (not same)
    return odd


def test_tables_of_orientations_are_mirrored(tmp_path: Path) -> None:
    for mirror in (False, True):
        (tmp_path / str(mirror)).mkdir()
        write_orientation(
            study_orientation(scene(mirror), read_orientations("upright,out"), "axis", quiet), tmp_path / str(mirror)
        )
    keys = {
        "orientation.csv": ("loudspeaker", "orientation", "band", "band_hz"),
        "drivers.csv": ("loudspeaker", "orientation", "lower"),
        "driver_times.csv": ("loudspeaker", "orientation", "lower", "right_of_ear_m"),
        "surfaces.csv": ("loudspeaker", "orientation", "surface"),
        "driver_reflection_points.csv": ("loudspeaker", "orientation", "surface", "driver"),
    }
    for name, key in keys.items():
        ours, theirs = (table(tmp_path / str(mirror) / name) for mirror in (False, True))
        assert len(ours) == len(theirs) > 0
        where = {tuple(_plain(row[k]) for k in key): row for row in map(turned, theirs)}
        for row in ours:
            other = where[tuple(_plain(row[k]) for k in key)]
            assert not differences(row, other, 0.002), (name, row, other)
    points = {
        (row["loudspeaker"], row["surface"], row["driver"]): row
        for row in table(tmp_path / "False" / "driver_reflection_points.csv")
        if row["orientation"] == "upright"
    }
    beside = points.get(("left", "left wall", "tweeter")) or points["left", "window", "tweeter"]
    assert float(beside["from_left_m"]) == 0.0
    assert float(points["left", "right wall", "tweeter"]["from_left_m"]) == pytest.approx(WIDTH)


def _plain(cell: str) -> str:
    """A cell as a key: numbers without a sign of nothing."""
    try:
        return f"{float(cell) + 0.0:g}"
    except ValueError:
        return cell


def test_sweeps_move_what_they_name_to_the_side_they_say(tmp_path: Path) -> None:
    values = np.array([0.8, 1.0, 1.3])
    made = []
    for mirror in (False, True):
        text = copy.deepcopy(SCENE)
        path = tmp_path / f"scene-{mirror}.toml"
        path.write_text(tomli_w.dumps(mirrored(text) if mirror else text), encoding="utf-8")
        field = f"{'right' if mirror else 'left'}.acoustic_axis.from_left"
        moved = (WIDTH - values) if mirror else values
        made.append(sweep(path, {field: moved.tolist()}, tmp_path / f"sweep-{mirror}", tied=False, processes=1))
    ours, theirs = made
    assert [swapped(name) for name in theirs.plan.loudspeakers] == list(ours.plan.loudspeakers)
    order = [[swapped(name) for name in theirs.plan.surfaces].index(name) for name in ours.plan.surfaces]
    level, other = ours.figures.worst_db, theirs.figures.worst_db[:, :, order]
    assert np.maximum(level, -80.0) == pytest.approx(np.maximum(other, -80.0), abs=0.05)
    assert np.nan_to_num(ours.figures.delay_ms) == pytest.approx(
        np.nan_to_num(theirs.figures.delay_ms[:, :, order]), abs=1e-6
    )
    points, others = ours.figures.point_m, theirs.figures.point_m[:, :, :, order].copy()
    others[..., 1] = WIDTH - others[..., 1]
    assert np.nan_to_num(points, nan=-1.0) == pytest.approx(np.nan_to_num(others, nan=-1.0), abs=1e-6)
    # an image source by hand: nearer to the left wall, the detour over it is shorter
    window = ours.plan.surfaces.index("window")
    ear, up = np.array([2.1, 1.7, 1.2]), 1.15
    for k, across in enumerate(values):
        source = np.array([0.8, across, up])
        detour = np.linalg.norm(ear - source * [1.0, -1.0, 1.0]) - np.linalg.norm(ear - source)
        assert ours.figures.delay_ms[k, 0, window] == pytest.approx(1000.0 * detour / 343.2, abs=0.15)
        assert ours.figures.point_m[k, 0, 1, window, 1] == pytest.approx(0.0, abs=1e-9)


def test_tolerances_spread_round_mirrored_points(tmp_path: Path) -> None:
    found = []
    for mirror in (False, True):
        folder = tmp_path / str(mirror)
        folder.mkdir()
        write_tolerance_tables(tolerance(scene(mirror), samples=64, processes=1), folder)
        found.append(table(folder / "points.csv"))
    ours, theirs = found
    where = {(swapped(row["loudspeaker"]), row["driver"], swapped(row["surface"])): row for row in theirs}
    seen = 0
    for row in ours:
        other = where.get((row["loudspeaker"], row["driver"], row["surface"]))
        if other is None or min(float(row["reaches_fraction"]), float(other["reaches_fraction"])) < 0.9:
            continue
        seen += 1
        assert float(row["from_left_m"]) == pytest.approx(WIDTH - float(other["from_left_m"]), abs=0.02), row
        for key in ("from_front_m", "up_m", "first_tape_m", "half_axis_long_m"):
            assert float(row[key]) == pytest.approx(float(other[key]), abs=0.02), (key, row)
        assert row["first_from"] == swapped(other["first_from"])
        assert other["second_from"] in (row["second_from"], swapped(row["second_from"]))
    assert seen >= 8


def test_rays_bounce_on_the_side_where_the_wall_is(tmp_path: Path) -> None:
    """Rays are tossed, so no two runs agree; but each surface is where a tape finds it, in the mirror too."""
    for mirror in (False, True):
        one = scene(mirror)
        study = study_bounces(one, build_scene(one.blueprint, Path()), quiet, rays=30_000, seed=3, threads=1)
        write_bounces(study, tmp_path)
        rows = [turned(row) if mirror else row for row in table(tmp_path / "bounce_spots.csv")]
        assert "from_left_m" in rows[0]
        places = {"left wall": 0.0, "window": 0.0, "right wall": WIDTH}
        beside = [row for row in rows if row["surface"] in places]
        assert {"left", "right"} == {row["loudspeaker"] for row in beside}
        for row in beside:
            assert float(row["from_left_m"]) == pytest.approx(places[row["surface"]], abs=2e-3)
        on_desk = [float(row["from_left_m"]) for row in rows if row["surface"] == "desk top"]
        assert on_desk and min(on_desk) > 0.8 and max(on_desk) < 2.4


def test_plans_of_treatment_are_mirrored() -> None:
    plans = [plan_treatment(scene(mirror, True), trace_scene, quiet, panels=2) for mirror in (False, True)]
    ours, theirs = plans
    assert len(ours.panels) == len(theirs.panels) > 0
    for one, other in zip(ours.panels, theirs.panels, strict=True):
        assert one.gain_db == pytest.approx(other.gain_db, abs=0.1)
        assert one.panel.surface == swapped(other.panel.surface)
        for key in ("from_front", "up"):
            mine, far = getattr(one.panel, key), getattr(other.panel, key)
            assert (mine is None) == (far is None)
            if mine is not None:
                assert mine == pytest.approx(far, abs=0.011)
        if one.panel.from_left is not None:
            low, high = other.panel.from_left
            # the measure is flat to a tenth of a decibel over some centimetres: each search ends on its own side
            assert one.panel.from_left == pytest.approx((WIDTH - high, WIDTH - low), abs=0.04)
    for mine_then, theirs_then in zip(ours.measures, theirs.measures, strict=True):
        assert mine_then.total_db == pytest.approx(theirs_then.total_db, abs=0.2)
