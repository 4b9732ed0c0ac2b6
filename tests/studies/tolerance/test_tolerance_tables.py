from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from sim.errors import OutputError
from sim.studies.tolerance.findings import blobs, reflection_ranges
from sim.studies.tolerance.tables import write_tolerance_tables
from sim.studies.tolerance.tolerance import Tolerance, tolerance
from tests.studies.little_room import DESK, little_room


@pytest.fixture(scope="module")
def found() -> Tolerance:
    return tolerance(little_room(DESK), samples=128, processes=1)


@pytest.fixture(scope="module")
def tables(found: Tolerance, tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[dict[str, str]]]:
    folder = tmp_path_factory.mktemp("tables")
    write_tolerance_tables(found, folder)
    read = {}
    for path in folder.iterdir():
        with path.open(encoding="utf-8", newline="") as file:
            read[path.stem] = list(csv.DictReader(file))
    return read


def test_there_are_four_tables(tables: dict[str, list[dict[str, str]]]) -> None:
    assert set(tables) == {"reflections", "points", "sensitivity", "samples"}
    assert all(None not in row and None not in row.values() for rows in tables.values() for row in rows)


def test_ranges_and_points_read_back(found: Tolerance, tables: dict[str, list[dict[str, str]]]) -> None:
    for row, one in zip(tables["reflections"], reflection_ranges(found), strict=True):
        assert (row["loudspeaker"], row["surface"]) == (one.loudspeaker, one.surface)
        assert float(row["level_db_5_percent"]) == pytest.approx(one.level.low, abs=0.005)
        assert float(row["level_1000_hz_db_median"]) == pytest.approx(one.levels[4].middle, abs=0.005)
        assert float(row["delay_ms_95_percent"]) == pytest.approx(one.delay_ms.high, abs=5e-5)
    for row, blob in zip(tables["points"], blobs(found), strict=True):
        place = [float(row[key]) for key in ("from_front_m", "from_left_m", "up_m")]
        assert place == pytest.approx(blob.middle, abs=5e-5)
        assert float(row["half_axis_long_m"]) >= float(row["half_axis_short_m"])
        assert float(row["first_tape_reach_m"]) <= float(row["half_axis_long_m"]) + 1e-4


def test_samples_hold_what_was_drawn(found: Tolerance, tables: dict[str, list[dict[str, str]]]) -> None:
    rows = tables["samples"]
    assert len(rows) == 128
    drawn = np.array([float(row["ear.from_front_m"]) for row in rows])
    number = [one.name for one in found.uncertainties].index("ear.from_front")
    assert drawn == pytest.approx(found.offsets[:, number], abs=1e-7)
    assert float(rows[5]["early_db right"]) == pytest.approx(found.early_db(found.figures)[5, 1], abs=5e-4)


def test_sensitivities_are_ranked_within_each_figure(tables: dict[str, list[dict[str, str]]]) -> None:
    by_figure: dict[tuple[str, ...], list[float]] = {}
    for row in tables["sensitivity"]:
        key = tuple(row[name] for name in ("figure", "loudspeaker", "driver", "surface"))
        by_figure.setdefault(key, []).append(float(row["fraction_of_variance"]))
    assert ("early", "left", "", "") in by_figure
    for fractions in by_figure.values():
        assert fractions == sorted(fractions, reverse=True)
        assert 0.0 < sum(fractions) < 1.1


def test_a_folder_that_is_not_there_is_told(found: Tolerance, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_tolerance_tables(found, tmp_path / "nowhere")
