"""Cells and files of tables."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from sim.acoustics.levels import SILENCE_DB
from sim.errors import OutputError
from sim.showing.numbers import number_cell, write_records, write_table, written_cell, yes_cell


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


@pytest.mark.parametrize(
    "name",
    [
        "=1+1",
        "+1+1",
        "-1+1",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        " =1",
        "\uff1d1",
        '=HYPERLINK("x";"y")',
        "-2+3+cmd|' /C x'!A0",
        "+1e",
        "-a",
        "--1",
        "+",
        "=",
        "-1_000",
        "-\u0661",
    ],
)
def test_no_text_is_a_formula_to_a_spreadsheet(name: str, tmp_path: Path) -> None:
    """The signs that begin a formula in spreadsheet programs: common practice of web security, from memory."""
    write_table(tmp_path / "a.csv", ("name", "more"), [(name, "x"), ("x", name)])
    with (tmp_path / "a.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))[1:]
    assert rows == [[f"'{name}", "x"], ["x", f"'{name}"]]


@pytest.mark.parametrize(
    "cell", ["-3.2", "+3", "-0.5e-3", "-", "12", ".5", "-.5", "1e6", "", "yes", "a-b", "5 = x", "'"]
)
def test_numbers_and_usual_texts_stay_as_they_are(cell: str) -> None:
    assert written_cell(cell) == cell


def test_separators_of_other_countries_stand_in_quotes() -> None:
    """Where cells are parted by semicolons, what follows one would begin a cell of its own."""
    assert written_cell("a;=1+1") == '"a;=1+1"'
    assert written_cell('a "b", c') == '"a ""b"", c"'


def test_no_other_module_writes_tables() -> None:
    home = Path(__file__).resolve().parents[2] / "sim"
    users = [path.name for path in home.rglob("*.py") if "csv.writer" in path.read_text(encoding="utf-8")]
    assert not users
