"""The table of many layouts, as words and as a file."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from sim.errors import OutputError
from sim.showing.words import letter_of
from sim.studies.compare.many import Difference, Many
from sim.studies.compare.text import MOST_CHANGES, many_lines, write_many


def made_up(count: int, *, priced: bool = False) -> Many:
    """A table with invented figures."""
    numbers = np.arange(count, dtype=float)
    changes = [tuple(Difference(("desk",), f"key{k}", "1 m", "2 m") for k in range(n)) for n in range(count)]
    return Many(
        titles=tuple(f"Layout {n}" for n in range(count)),
        letters=tuple(letter_of(n) for n in range(count)),
        loudspeakers=(("left", "right"),) * count,
        early_db=np.column_stack([-numbers, -numbers - 0.25]),
        over_target_db=np.column_stack([3.0 - numbers, 3.0 - numbers]),
        above_target=np.arange(count),
        left_right_db=np.full(count, 0.25),
        desk_notch_hz=np.column_stack([800.0 + numbers, np.full(count, np.nan)]),
        panels=np.arange(count),
        mass_kg=8.0 * numbers,
        price=80.0 * numbers if priced else np.full(count, np.nan),
        changes=tuple(changes),
        front=numbers % 2 == 0,
        costs=np.column_stack([3.0 - numbers, np.full(count, 0.25), numbers]),
        cost_word="price" if priced else "panels",
    )


def test_lines_hold_a_row_a_layout_and_what_each_changes():
    lines = many_lines(made_up(12))
    rows = [line for line in lines if ": Layout" in line][:12]
    assert len({len(row) for row in rows}) == 1
    assert rows[0].startswith("* A") and rows[1].startswith("  B")
    assert rows[3].split()[3:] == ["-3.0", "-3.2", "0.0", "3", "0.2", "803", "Hz", "3", "24.0"]
    text = "\n".join(lines)
    assert "Worth a look: A, C, E, G, I, K" in text and "fewer panels" in text
    assert "  B: Layout 1\n    - desk: key0 1 m, then 2 m" in text
    assert f"and {11 - MOST_CHANGES} more; many.csv has all" in text
    assert all(len(line) < 170 for line in lines)


def test_prices_are_told_where_they_are_known():
    lines = many_lines(made_up(3, priced=True))
    assert "price" in lines[2] and lines[4].endswith("80.00") and "a lower price" in "\n".join(lines)


def test_more_than_26_layouts_and_nothing_cut_from_the_table(tmp_path: Path) -> None:
    text, table = write_many(made_up(30), tmp_path)
    assert [text.name, table.name] == ["many.txt", "many.csv"]
    assert "AD: Layout 29" in text.read_text(encoding="utf-8")
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 30 and rows[26]["layout"] == "AA"
    last = rows[29]
    assert (last["early_db left"], last["over_target_db right"], last["desk_notch_hz left"]) == (
        "-29.00",
        "-26.00",
        "829",
    )
    assert last["desk_notch_hz right"] == "" and last["price"] == "" and last["worth_a_look"] == "no"
    assert last["changes"].count("; ") == 28


def test_a_folder_that_is_not_there_is_told_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="the text cannot be written"):
        write_many(made_up(3), tmp_path / "gone")
