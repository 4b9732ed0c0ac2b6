"""Comparisons as words and as a table."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.showing.numbers import hertz
from sim.studies.compare.comparison import Comparison, compare
from sim.studies.compare.text import comparison_lines, write_comparison, write_ear_comparison
from tests.studies.compare.layouts import ON_DESK, ON_STANDS, traced

OCTAVES = ["125", "250", "500", "1k", "2k", "4k", "8k", "16k"]


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    return compare([traced(ON_DESK), traced(ON_STANDS)])


def cells(lines: list[str], label: str) -> list[float]:
    (line,) = (each for each in lines if each.startswith(label.ljust(24)))
    return [float(cell) for cell in line[24:].split()]


def test_titles_come_first_with_their_letters(comparison: Comparison) -> None:
    lines = comparison_lines(comparison)
    assert lines[:3] == ["A: " + comparison.titles[0], "B: " + comparison.titles[1], ""]


def test_levels_per_octave_and_the_sign_of_their_difference(comparison: Comparison) -> None:
    lines = comparison_lines(comparison)
    (header,) = (line for line in lines if line.split() == OCTAVES)
    assert header.startswith(" " * 24)
    shown = comparison.bands.nominal_hz >= 125.0
    for s, name in enumerate(("left", "right")):
        before, after = comparison.early_db[0, s, shown], comparison.early_db[1, s, shown]
        np.testing.assert_allclose(cells(lines, f"{name}, A"), before, atol=0.0501)
        np.testing.assert_allclose(cells(lines, f"{name}, B"), after, atol=0.0501)
        np.testing.assert_allclose(cells(lines, f"{name}, B less A"), after - before, atol=0.0501)


def test_every_sentence_stands_under_its_heading(comparison: Comparison) -> None:
    lines = comparison_lines(comparison)
    headings = {
        "B against A: improved": comparison.improved[0],
        "B against A: worse": comparison.worse[0],
        "B against A: no change (under 1 dB)": comparison.unchanged[0],
    }
    for heading, sentences in headings.items():
        at = lines.index(heading)
        assert lines[at + 1 : at + 1 + len(sentences)] == [f"  - {sentence}" for sentence in sentences]


def test_nothing_is_said_to_be_nothing() -> None:
    on_desk = traced(ON_DESK)
    lines = comparison_lines(compare([on_desk, on_desk, on_desk]))
    for heading in ("B against A: improved", "B against A: worse", "C against A: improved", "C against A: worse"):
        assert lines[lines.index(heading) + 1] == "  - nothing"
    assert cells(lines, "left, C less A") == [0.0] * len(OCTAVES)


def test_silence_has_no_level_and_no_difference(tmp_path: Path) -> None:
    comparison = compare([traced(ON_DESK + "\n[target]\nwindow_ms = [0.0, 0.1]\n"), traced(ON_DESK)])
    lines = comparison_lines(comparison)
    assert lines[2].startswith("Note: the targets of the layouts differ")
    for label in ("left, A", "left, B less A"):
        (line,) = (each for each in lines if each.startswith(label.ljust(24)))
        assert line[24:].split() == ["-"] * len(OCTAVES)
    write_comparison(comparison, tmp_path / "comparison.csv")
    text = (tmp_path / "comparison.csv").read_text(encoding="utf-8")
    assert "-200" not in text
    assert "inf" not in text
    assert "nan" not in text


def test_the_table_holds_what_the_words_say(comparison: Comparison, tmp_path: Path) -> None:
    write_comparison(comparison, tmp_path / "comparison.csv")
    with (tmp_path / "comparison.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    desk = [row for row in rows if (row["loudspeaker"], row["surface"]) == ("left", "desk top")]
    change = next(c for c in comparison.surfaces if (c.loudspeaker, c.surface) == ("left", "desk top"))
    assert [row["layout"] for row in desk] == ["A", "B"]
    assert [row["title"] for row in desk] == list(comparison.titles)
    assert [float(row["worst_db"]) for row in desk] == pytest.approx(change.worst_db.tolist(), abs=1e-4)
    assert [float(row["delay_ms"]) for row in desk] == pytest.approx(change.delay_ms.tolist(), abs=1e-4)
    wall = [row for row in rows if (row["loudspeaker"], row["surface"]) == ("left", "right wall")]
    assert wall[0]["worst_db"] == wall[0]["delay_ms"] == ""
    assert float(wall[1]["delay_ms"]) == pytest.approx(8.33, abs=0.01)
    whole = [row for row in rows if row["surface"] == "all inside the window, 1000 Hz octave"]
    octave = int(np.flatnonzero(comparison.bands.nominal_hz == 1000.0)[0])
    assert [(row["loudspeaker"], row["layout"]) for row in whole] == [
        ("left", "A"),
        ("left", "B"),
        ("right", "A"),
        ("right", "B"),
    ]
    levels = [float(row["worst_db"]) for row in whole]
    assert levels == pytest.approx(comparison.early_db[:, :, octave].T.ravel().tolist(), abs=1e-4)


def test_what_the_desk_does_at_the_ear_stands_there_for_each_layout(comparison: Comparison) -> None:
    lines = comparison_lines(comparison)
    desk = next(change for change in comparison.ear if (change.loudspeaker, change.name) == ("left", "desk"))
    for layout, letter in enumerate("AB"):
        (line,) = (each for each in lines if each.startswith(f"left, desk, {letter} "))
        (most, most_hz), (least, least_hz) = desk.extremes(layout)
        assert f"{desk.rms_db[layout]:.1f} dB rms" in line
        assert f"{most:+.1f} at {hertz(most_hz)}" in line and f"{least:+.1f} at {hertz(least_hz)}" in line
    at = lines.index("Deepest notches at the ear, and the surface that makes them")
    assert lines[at + 1].endswith(comparison.notches[0][0])
    assert lines[at + 2].startswith("B, left ")
    assert any("desk, edge of top and listener side" in line for line in lines)


def test_the_table_at_the_ear_has_a_row_for_each_thing_layout_and_band(comparison: Comparison, tmp_path: Path) -> None:
    write_ear_comparison(comparison, tmp_path / "ear.csv")
    with (tmp_path / "ear.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(comparison.ear) * 2 * 23
    desk = comparison.ear[0]
    assert (desk.name, rows[0]["thing"], rows[0]["kind"]) == ("desk", "desk", "piece")
    assert [float(row["adds_db"]) for row in rows[:23]] == pytest.approx(desk.adds_db[0].tolist(), abs=0.0051)
    assert {row["judged"] for row in rows} == {"yes", "no"}
    absent = replace(desk, adds_db=np.full_like(desk.adds_db, np.nan), rms_db=np.full(2, np.nan))
    gone = replace(comparison, ear=(absent,))
    write_ear_comparison(gone, tmp_path / "gone.csv")
    assert "nan" not in (tmp_path / "gone.csv").read_text(encoding="utf-8")
    assert any(line.startswith("left, desk, A") and line.endswith("not there") for line in comparison_lines(gone))
