from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import pytest

from sim.acoustics.levels import SILENCE_DB
from sim.blueprint.units import text_to_metres
from sim.errors import OutputError
from sim.responses.records import Results
from sim.showing.tables import KINDS, write_arrivals, write_reflection_points
from sim.showing.tape import tape_coordinates

OCTAVES = (63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000)


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def arrivals(traced_attic: Results, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, str]]:
    path = tmp_path_factory.mktemp("tables") / "arrivals.csv"
    write_arrivals(traced_attic, path)
    return rows_of(path)


@pytest.fixture(scope="module")
def points(traced_attic: Results, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, str]]:
    path = tmp_path_factory.mktemp("tables") / "reflection_points.csv"
    write_reflection_points(traced_attic, path)
    return rows_of(path)


def test_every_arrival_has_a_row_for_all_drivers_and_one_for_each(
    traced_attic: Results, arrivals: list[dict[str, str]]
) -> None:
    listed = traced_attic.responses.arrivals
    assert len(arrivals) == sum(1 + len(arrival.parts) for arrival in listed)
    whole = [row for row in arrivals if row["driver"] == "all"]
    for row, arrival in zip(whole, listed, strict=True):
        main = arrival.main
        assert (row["loudspeaker"], row["listener"]) == (arrival.loudspeaker, arrival.listener)
        assert (int(row["number"]), row["kind"], row["via"]) == (arrival.number, KINDS[arrival.kind], arrival.via)
        assert row["materials"] == " > ".join(arrival.materials)
        assert (row["margin_m"] == "") == math.isinf(main.margin_m)
        margin = [] if math.isinf(main.margin_m) else ["margin_m"]
        for name in ("delay_ms", "flight_time_ms", "extra_path_m", "length_m", *margin):
            assert float(row[name]) == pytest.approx(getattr(main, name), abs=6e-5), name
        for name in ("departure_deg", "arrival_azimuth_deg", "arrival_elevation_deg"):
            assert float(row[name]) == pytest.approx(getattr(main, name), abs=6e-3), name
        for hz, level in zip(OCTAVES, arrival.level_db, strict=True):
            cell = row[f"level_{hz}_hz_db"]
            assert (cell == "") == (level <= SILENCE_DB)
            assert cell == "" or float(cell) == pytest.approx(level, abs=6e-3)
        assert float(row["worst_db"]) == pytest.approx(arrival.worst_db, abs=6e-3)
        assert float(row["worst_band_hz"]) == arrival.worst_band_hz
        assert row["fragile"] == ("yes" if arrival.fragile else "no")
        assert row["margin_cause"] == main.margin_cause
        for number, notch in enumerate(arrival.notches_hz, 1):
            if math.isfinite(notch):
                assert float(row[f"notch_{number}_hz"]) == pytest.approx(notch, abs=0.06)
            else:
                assert row[f"notch_{number}_hz"] == ""


def test_rows_of_single_drivers_carry_their_own_levels(traced_attic: Results, arrivals: list[dict[str, str]]) -> None:
    parts = [(a, part) for a in traced_attic.responses.arrivals for part in a.parts]
    single = [row for row in arrivals if row["driver"] != "all"]
    for row, (arrival, part) in zip(single, parts, strict=True):
        assert (row["driver"], row["via"]) == (part.driver, arrival.via)
        assert float(row["delay_ms"]) == pytest.approx(part.delay_ms, abs=6e-5)
        for hz, level in zip(OCTAVES, part.level_db, strict=True):
            cell = row[f"level_{hz}_hz_db"]
            assert (cell == "") == (level <= SILENCE_DB)  # an edge that is counted with the reflection beside it
            assert cell == "" or float(cell) == pytest.approx(level, abs=6e-3)


def test_every_first_order_reflection_has_a_point(traced_attic: Results, points: list[dict[str, str]]) -> None:
    expected = {
        (a.loudspeaker, a.listener, part.driver, a.surfaces[0])
        for a in traced_attic.responses.arrivals
        if a.order == 1 and not a.diffracted
        for part in a.parts
    }
    reaching = {
        (row["loudspeaker"], row["listener"], row["driver"], row["surface"])
        for row in points
        if row["status"] == "reaches"
    }
    assert reaching == expected


def test_a_point_carries_its_place_and_its_tape_distances(traced_attic: Results, points: list[dict[str, str]]) -> None:
    def key(row: dict[str, str]) -> tuple[str, ...]:
        return (row["loudspeaker"], row["listener"], row["driver"], row["surface"])

    (row,) = (row for row in points if key(row) == ("left", "ear", "tweeter", "left slope"))
    # Mirroring the axis point (0.70, 1.50, 1.22) in the plane up = across + 1.05 gives (0.70, 0.17, 2.55); its line
    # to the ear (2.05, 2.30, 1.22) meets that plane after 1.33 / (1.33 + 2.13) of the way: at (1.2189, 0.9888, 2.0388).
    assert [float(row[f"{name}_m"]) for name in ("from_front", "from_left", "up")] == [1.2189, 0.9888, 2.0388]
    assert float(row["tape_1_m"]) == pytest.approx(0.9888 * math.sqrt(2.0), abs=2e-4)
    assert float(row["tape_2_m"]) == 1.2189
    assert (row["tape_1_from"], row["tape_2_from"]) == ("up the slope from the left knee wall", "from the front gable")
    for name in ("from_front", "from_left", "up", "tape_1", "tape_2", "corner_1", "corner_2"):
        assert row[f"{name}_text"].endswith(" in")
        assert text_to_metres(row[f"{name}_text"]) == pytest.approx(float(row[f"{name}_m"]), abs=0.0254 / 32 + 6e-5)


def test_only_fragile_misses_and_shaded_surfaces_are_listed_without_levels(
    traced_attic: Results, points: list[dict[str, str]]
) -> None:
    failing = [row for row in points if row["status"] != "reaches"]
    expected = [c for c in traced_attic.candidates if c.status in ("misses", "blocked") and c.fragile]
    assert failing
    assert len(failing) == len(expected)
    for candidate in expected:
        (row,) = (
            row
            for row in failing
            if (row["loudspeaker"], row["driver"], row["surface"], row["listener"])
            == (
                candidate.loudspeaker,
                candidate.driver,
                candidate.surface,
                traced_attic.built.listener_names[candidate.listener],
            )
        )
        assert row["status"] == candidate.status
        assert row["level_1000_hz_db"] == ""
        tape = tape_coordinates(traced_attic.built.room, candidate.facet, candidate.point)
        assert float(row["tape_1_m"]) == pytest.approx(tape.first_m, abs=6e-5)
    floor = next(row for row in failing if row["surface"] == "floor")
    assert floor["why"] == "blocked by the desk"


def test_left_is_left_in_the_tables(points: list[dict[str, str]]) -> None:
    for row in points:
        if row["surface"].startswith("left "):
            assert float(row["from_left_m"]) < 2.30, row["surface"]
        if row["surface"].startswith("right "):
            assert float(row["from_left_m"]) > 2.30, row["surface"]


def test_headings_come_first_and_the_file_is_plain(traced_attic: Results, tmp_path: Path) -> None:
    path = tmp_path / "arrivals.csv"
    write_arrivals(traced_attic, path)
    data = path.read_bytes()
    assert data.startswith(b"loudspeaker,listener,number,driver,kind,via,")
    assert b"\r" not in data
    assert b"inf" not in data
    assert b"nan" not in data
    assert b"-0.0000" not in data


def test_a_scene_without_reflections_gives_headings_only(traced_attic: Results, tmp_path: Path) -> None:
    bare = replace(traced_attic, candidates=(), responses=replace(traced_attic.responses, arrivals=()))
    write_reflection_points(bare, tmp_path / "points.csv")
    assert rows_of(tmp_path / "points.csv") == []


def test_a_place_that_cannot_be_written_is_told(traced_attic: Results, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"No such file or directory.*choose a folder"):
        write_arrivals(traced_attic, tmp_path / "nowhere" / "arrivals.csv")
