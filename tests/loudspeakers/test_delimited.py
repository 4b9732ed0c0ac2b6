"""Tables in plain text, as spreadsheets of many countries export them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.errors import SceneError
from sim.loudspeakers.polar_files import DelimitedTable, read_delimited, refuse_radians


def read(folder: Path, text: str) -> DelimitedTable:
    path = folder / "a.csv"
    path.write_text(text, encoding="utf-8")
    return read_delimited(path, "file, a.csv", "a.csv")


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_delimiters_and_line_ends(tmp_path: Path, mark: str, ends: str) -> None:
    table = read(
        tmp_path, ends.join(mark.join(cells) for cells in ((" Name ", "Hz"), ("a", "1.5"), ("", ""), ("b", "2")))
    )
    assert table.columns == ("name", "hz")
    assert [(line, row["name"], table.number(line, row, "hz")) for line, row in table.rows] == [
        (2, "a", 1.5),
        (4, "b", 2.0),
    ]


def test_decimal_commas_where_they_cannot_be_mistaken(tmp_path: Path) -> None:
    table = read(tmp_path, "a;b\n1,5;-0,25\n")
    (line, row) = table.rows[0]
    assert (table.number(line, row, "a"), table.number(line, row, "b")) == (1.5, -0.25)
    with pytest.raises(SceneError, match=r"a\.csv, line 2: it has 4 cells where the first line has 2"):
        read(tmp_path, "a,b\n1,5,-0,25\n")


def test_short_rows_are_filled_and_empty_cells_behind_the_last_column_do_no_harm(tmp_path: Path) -> None:
    table = read(tmp_path, "a,b\n1\n2,3,,\n")
    assert [row for _, row in table.rows] == [{"a": "1", "b": ""}, {"a": "2", "b": "3"}]
    with pytest.raises(SceneError, match=r'a\.csv, line 2: b is ""; write a number'):
        table.number(2, table.rows[0][1], "b")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "it is empty"),
        (" \n\n", "it is empty"),
        ("a,b,A\n", "two of its columns are called a"),
        ("a,b\n" + "9" * 140000 + ",1\n", "field larger than field limit"),
    ],
)
def test_what_is_no_table_is_refused(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(SceneError, match=words):
        read(tmp_path, text)


@pytest.mark.parametrize("cell", ["nan", "inf", "-inf", "1.2.3", "12 deg", "", "x" * 500])
def test_numbers_are_finite_or_refused_with_little_said(tmp_path: Path, cell: str) -> None:
    table = read(tmp_path, f"a,b\n{cell},1\n")
    with pytest.raises(SceneError, match=r"line 2: a is ") as raised:
        table.number(*table.rows[0], "a")
    assert len(str(raised.value)) < 140


@pytest.mark.parametrize(("cell", "fine"), [("360", True), ("-180", True), ("360.5", False), ("1e9", False)])
def test_angles_go_round_once(tmp_path: Path, cell: str, fine: bool) -> None:
    table = read(tmp_path, f"a\n{cell}\n")
    if fine:
        assert table.angle_deg(*table.rows[0], "a") == float(cell)
    else:
        with pytest.raises(SceneError, match="write degrees from -360 to 360"):
            table.angle_deg(*table.rows[0], "a")


@given(st.lists(st.integers(-36, 36), min_size=2, max_size=20))
def test_the_same_angles_in_radians_are_known_and_in_degrees_they_pass(tens: list[int]) -> None:
    degrees = 10.0 * np.array(tens)
    refuse_radians(degrees, "a.csv")
    if np.abs(degrees).max() > 0.0:
        with pytest.raises(SceneError, match="looks like radians"):
            refuse_radians(np.radians(degrees), "a.csv")


def test_a_million_rows_are_refused_at_once(tmp_path: Path) -> None:
    import time

    path = tmp_path / "many.csv"
    path.write_text("a,b\n" + "1,2\n" * 1_000_000)
    begin = time.process_time()
    with pytest.raises(SceneError, match="it has more than 300,000 rows"):
        read_delimited(path, "here", "many.csv")
    assert time.process_time() - begin < 10.0
    with path.open("wb") as file:
        file.truncate(50_000_001)
    with pytest.raises(SceneError, match="it has 50,000,001 bytes"):
        read_delimited(path, "here", "many.csv")
