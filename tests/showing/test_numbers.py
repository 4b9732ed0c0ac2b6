"""Numbers as they stand in sentences: one spelling everywhere."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

import sim
from sim.showing.numbers import hertz, hertz_range, joined, level_cell, level_words, short_hertz, tenths


@pytest.mark.parametrize(
    ("level", "decimals", "words"), [(-15.0, None, "−15 dB"), (-11.0, 1, "−11.0 dB"), (3.25, 1, "3.2 dB")]
)
def test_levels_have_a_true_minus(level, decimals, words):
    assert level_words(level, decimals) == words


def test_bands_read_as_people_say_them():
    assert [hertz(f) for f in (31.5, 500.0, 999, 1000, 2500.0)] == ["31.5 Hz", "500 Hz", "999 Hz", "1 kHz", "2.5 kHz"]
    assert [short_hertz(f) for f in (63.0, 500.0, 1000.0, 2500.0)] == ["63", "500", "1k", "2.5k"]
    assert hertz_range(500, 8000) == "500 Hz to 8 kHz"
    assert hertz_range(2000.0, 2000.0) == "2 kHz"


def test_cells_have_a_stroke_for_silence_and_no_minus_zero():
    assert [level_cell(value) for value in (-12.34, -200.0, -math.inf, math.nan)] == ["-12.3", "-", "-", "-"]
    assert [tenths(value) for value in (-0.04, 0.04, -0.06)] == ["0.0", "0.0", "-0.1"]


def test_words_stand_in_a_row():
    assert [joined(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]


def test_nobody_else_turns_hertz_into_kilohertz():
    """Ten spellings of one formatter had stood in ten files."""
    again = re.compile(r"/ 1000(\.0)?:g\}|// 1000\} kHz")
    found = [
        path.name
        for path in sorted(Path(sim.__file__).parent.rglob("*.py"))
        if path.parts[-3] == "studies" and again.search(path.read_text(encoding="utf-8"))
    ]
    assert found == []
