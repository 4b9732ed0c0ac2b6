"""Cells and files of tables."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from sim.acoustics.decibels import SILENCE_DB
from sim.errors import OutputError
from sim.writers.cells import number_cell, write_records, write_table, yes_cell


@pytest.mark.parametrize(
    ("value", "decimals", "cell"),
    [
        (1.234, 2, "1.23"),
        (-0.001, 2, "0.00"),
        (math.nan, 2, ""),
        (-math.inf, 1, ""),
        (SILENCE_DB, 1, ""),
        (3.0, 0, "3"),
    ],
)
def test_a_cell_is_empty_where_there_is_nothing(value: float, decimals: int, cell: str) -> None:
    assert number_cell(value, decimals) == cell


def test_answers_are_words() -> None:
    assert (yes_cell(True), yes_cell(False)) == ("yes", "no")


def test_records_are_rows_under_their_keys(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    write_records(path, [{"surface": 'the "desk", top', "delay_ms": "0.8"}], ("surface", "delay_ms"))
    with path.open(encoding="utf-8", newline="") as file:
        assert list(csv.DictReader(file)) == [{"surface": 'the "desk", top', "delay_ms": "0.8"}]
    write_records(path, [], ("surface", "delay_ms"))
    assert path.read_bytes() == b"surface,delay_ms\n"


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"table.csv: the table cannot be written \(.*\); choose a folder"):
        write_table(tmp_path / "nowhere" / "table.csv", ["a"], [["1"]])
