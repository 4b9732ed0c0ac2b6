from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.units import text_to_metres
from sim.showing.numbers import drawn_area_size, drawn_length, unit_words


@pytest.mark.parametrize(
    ("metres", "unit", "words"),
    [
        (0.69, "m", "690"),
        (0.69, "cm", "690"),
        (1.3416407865, "mm", "1342"),
        (0.0005, "m", "1"),
        (0.0, "m", "0"),
        (0.69, "in", '27 3/16"'),
        (0.69, "ft", "2'-3 3/16\""),
        (0.3048, "ft", "1'-0\""),
        (0.92, "ft", "3'-0 1/4\""),
        (0.0254, "ft", '1"'),
        (0.0, "in", '0"'),
        (-0.0254, "in", '-1"'),
    ],
)
def test_lengths_are_written_as_on_drawings(metres: float, unit: str, words: str) -> None:
    assert drawn_length(metres, unit) == words


@given(st.floats(min_value=0.001, max_value=20.0))
def test_feet_and_inches_are_right_to_a_thirty_second(metres: float) -> None:
    for unit in ("in", "ft"):
        words = drawn_length(metres, unit).replace("'-", "' ")
        if words != '0"':
            assert text_to_metres(words) == pytest.approx(metres, abs=0.0254 / 32 + 1e-9)


@given(st.floats(min_value=0.0, max_value=60.0))
def test_millimetres_are_right_to_a_half(metres: float) -> None:
    assert abs(int(drawn_length(metres, "m")) - 1000.0 * metres) <= 0.5 + 1e-5


def test_what_is_no_length_is_left_out() -> None:
    assert drawn_length(float("nan"), "m") == ""


def test_sizes_and_units() -> None:
    assert drawn_area_size(0.6, 1.2, "m") == "600 x 1200"
    assert unit_words("cm") == "Lengths in millimetres"
    assert "inches" in unit_words("in") and "feet" in unit_words("ft")
