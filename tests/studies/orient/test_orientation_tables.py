"""Tables of an orientation study read back."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from sim.acoustics.air import Air
from sim.errors import OutputError
from sim.studies.orient.drivers import read_orientations
from sim.studies.orient.findings import write_orientation
from sim.studies.orient.study import OrientationStudy, study_orientation
from tests.studies.orient.orientation_scenes import EAR, pair


@pytest.fixture(scope="module")
def study() -> OrientationStudy:
    return study_orientation(pair("three-way"), read_orientations("upright,right"))


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_number_of_the_study_is_in_a_table(study: OrientationStudy, tmp_path: Path) -> None:
    write_orientation(study, tmp_path)
    bands = rows_of(tmp_path / "orientation.csv")
    assert len(bands) == 2 * 2 * (8 + 23)
    row = next(
        row
        for row in bands
        if (row["loudspeaker"], row["orientation"], row["band"], row["band_hz"])
        == ("right", "on its right side", "octave", "2000")
    )
    oriented = study.of("right")[1]
    assert float(row["roll_deg"]) == oriented.roll_deg == -90.0
    octave = list(oriented.octaves.bands.nominal_hz).index(2000.0)
    assert float(row["whole_spread_db"]) == pytest.approx(oriented.octaves.pattern_db[octave], abs=0.006)
    assert float(row["across_spread_db"]) == pytest.approx(oriented.octaves.across_db[octave], abs=0.006)
    drivers = rows_of(tmp_path / "drivers.csv")
    assert [(row["lower"], row["upper"]) for row in drivers[:2]] == [("woofer", "mid"), ("mid", "tweeter")]
    mine = ("right", "on its right side", "tweeter")
    times = [
        row
        for row in rows_of(tmp_path / "driver_times.csv")
        if (row["loudspeaker"], row["orientation"], row["upper"]) == mine
    ]
    assert [float(row["right_of_ear_m"]) for row in times] == pytest.approx([0.1 * n for n in range(-15, 16)])
    _, mid, tweeter = oriented.placed.driver_points
    for row in times[::5]:
        ear = np.add(EAR, (0.0, float(row["right_of_ear_m"]), 0.0))
        lag_ms = 1000.0 * (math.dist(ear, mid) - math.dist(ear, tweeter)) / Air().speed_of_sound_m_s
        assert float(row["lag_ms"]) == pytest.approx(lag_ms, abs=2e-4)
    assert float(times[15]["lag_re_ear_ms"]) == 0.0
    surfaces = rows_of(tmp_path / "surfaces.csv")
    desk = next(row for row in surfaces if row["surface"] == "desk top")
    assert desk["facing"] == "up"
    assert float(desk["lowest_db"]) <= float(desk["worst_db"]) <= float(desk["highest_db"])
    points = rows_of(tmp_path / "driver_reflection_points.csv")
    assert {row["driver"] for row in points if row["surface"] == "ceiling"} == {"woofer", "mid", "tweeter"}
    assert all(float(row["up_m"]) == pytest.approx(2.4) for row in points if row["surface"] == "ceiling")


def test_a_folder_that_is_not_there_is_told(study: OrientationStudy, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="choose a folder that may be written to"):
        write_orientation(study, tmp_path / "nowhere")
