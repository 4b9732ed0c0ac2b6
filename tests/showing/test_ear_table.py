from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.errors import OutputError
from sim.responses.ear_records import Notch
from sim.responses.records import Results
from sim.showing.tables import COLUMNS, write_ear_response, write_notches


@pytest.fixture(scope="module")
def rows(traced_attic: Results, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, str]]:
    path = tmp_path_factory.mktemp("ear") / "ear_response.csv"
    write_ear_response(traced_attic, path)
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_one_row_for_each_thing_left_out_driver_and_band(traced_attic: Results, rows: list[dict[str, str]]) -> None:
    """Left has two drivers and right one; both are judged as a whole and driver by driver, at two listeners."""
    levels = traced_attic.responses.response.levels
    assert len(rows) == 2 * ((1 + 2) + (1 + 1)) * len(levels.without) * 23
    assert tuple(rows[0]) == COLUMNS
    assert {row["without_kind"] for row in rows} == {"", "surface", "piece"}
    assert {row["without"] for row in rows if row["without_kind"] == "piece"} >= {"desk"}
    assert {"left slope", "floor", "gable window"} <= {row["without"] for row in rows}
    drivers = {(row["loudspeaker"], row["driver"]) for row in rows}
    assert drivers == {("left", "all"), ("left", "woofer"), ("left", "tweeter"), ("right", "all"), ("right", "point")}
    assert [row["third_octave_hz"] for row in rows[:3]] == ["100", "125", "160"]
    assert rows[22]["third_octave_hz"] == "16000"


def test_levels_are_those_of_the_response_and_what_a_thing_adds_is_their_difference(
    traced_attic: Results, rows: list[dict[str, str]]
) -> None:
    """Around 1 kHz by a plain mean over the logarithm, from the complex response itself."""
    response = traced_attic.responses.response
    fine = 10.0 ** np.linspace(2.95, 3.05, 2001)

    def level(values: np.ndarray) -> float:
        logarithm = np.log(response.frequencies_hz[1:])
        means = [
            np.interp(np.log(fine), logarithm, np.abs(one[1:]) ** 2).mean() for one in (values, response.direct[0, 0])
        ]
        return float(10.0 * np.log10(means[0] / means[1]))

    desk = response.by_piece[0, 0, response.pieces.index("desk")]
    at = {"loudspeaker": "left", "listener": "ear", "driver": "all", "third_octave_hz": "1000"}
    mine = {row["without"]: row for row in rows if at.items() <= row.items()}
    whole, without = level(response.total[0, 0]), level(response.total[0, 0] - desk)
    assert float(mine[""]["level_db"]) == pytest.approx(whole, abs=0.02)
    assert mine[""]["adds_db"] == ""
    assert float(mine["desk"]["level_db"]) == pytest.approx(without, abs=0.02)
    assert float(mine["desk"]["adds_db"]) == pytest.approx(whole - without, abs=0.02)
    woofer = {row["without"]: row for row in rows if {**at, "driver": "woofer"}.items() <= row.items()}
    number = [driver.name for driver in traced_attic.built.loudspeakers[0].model.drivers].index("woofer")
    assert float(woofer[""]["level_db"]) == pytest.approx(level(response.by_driver[0, number, 0]), abs=0.02)


def test_bands_below_the_transition_are_marked(traced_attic: Results, rows: list[dict[str, str]]) -> None:
    for row in rows:
        low = float(row["third_octave_hz"]) * 10**-0.05
        if abs(low / traced_attic.responses.transition_hz - 1.0) > 0.02:
            assert row["judged"] == ("yes" if low >= traced_attic.responses.transition_hz else "no")
    assert {row["judged"] for row in rows} == {"yes", "no"}


def test_notches_name_the_panel_that_makes_them_or_keeps_them_away(traced_attic: Results, tmp_path: Path) -> None:
    notches = (
        Notch("left", "ear", 830.0, 9.0, "woofer", "desk top", 7.0),
        Notch("left", "ear", 410.0, 5.0, "woofer", "left slope", 4.0, "side panel", -2.04),
        Notch("left", "ear", 1230.0, 6.0, "woofer", "left slope", 5.0, "side panel", -5.0, False),
    )
    reported = replace(traced_attic, responses=replace(traced_attic.responses, notches=notches))
    write_notches(reported, tmp_path / "notches.csv")
    with (tmp_path / "notches.csv").open(encoding="utf-8", newline="") as file:
        first, second, third = csv.DictReader(file)
    assert (first["panel"], first["rise_without_panel_db"], first["present"]) == ("", "", "yes")
    assert (second["panel"], second["rise_without_panel_db"], second["present"]) == ("side panel", "-2.0", "yes")
    assert (third["frequency_hz"], third["present"]) == ("1230", "no")


def test_a_place_that_cannot_be_written_is_told(traced_attic: Results, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_ear_response(traced_attic, tmp_path / "nowhere" / "ear_response.csv")
