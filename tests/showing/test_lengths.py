from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import sim
from sim.blueprint.units import text_to_metres
from sim.showing.numbers import bare_length, format_length, format_small


@pytest.mark.parametrize(
    ("metres", "unit", "text"),
    [
        (1.2341, "m", "1.234 m"),
        (1.2341, "cm", "123.4 cm"),
        (1.2341, "mm", "1234 mm"),
        (1.235, "in", "48 5/8 in"),
        (1.235, "ft", "4 ft 0 5/8 in"),
        (1.2192, "ft", "4 ft 0 in"),
        (0.3047, "ft", "1 ft 0 in"),  # 11.996 in rounds up into the next foot
        (0.0127, "ft", "1/2 in"),
        (0.0127, "in", "1/2 in"),
        (0.0, "in", "0 in"),
        (-0.0002, "m", "0.000 m"),
        (-0.0002, "mm", "0 mm"),
        (-0.0002, "in", "0 in"),
        (-1.235, "ft", "-4 ft 0 5/8 in"),
        (math.nan, "m", ""),
        (math.inf, "in", ""),
    ],
)
def test_lengths_read_like_a_tape(metres: float, unit: str, text: str) -> None:
    assert format_length(metres, unit) == text


@pytest.mark.parametrize(
    ("unit", "text"), [("m", "3.2 cm"), ("cm", "3.2 cm"), ("mm", "32 mm"), ("ft", "1 1/4 in"), ("in", "1 1/4 in")]
)
def test_small_lengths_take_the_smaller_unit(unit: str, text: str) -> None:
    assert format_small(0.032, unit) == text


@pytest.mark.parametrize(
    ("unit", "text"), [("m", "1.235"), ("cm", "123.5"), ("mm", "1235"), ("in", "48 5/8"), ("ft", "4 ft 0 5/8 in")]
)
def test_a_column_whose_heading_names_the_unit_leaves_it_out(unit: str, text: str) -> None:
    assert bare_length(1.235, unit) == text


def test_nothing_but_lengths_turns_metres_into_a_unit() -> None:
    """Pictures had said 48.6 in where the screen said 48 5/8 in."""
    again = re.compile(r"/ UNIT_M\[|\* per_metre:\.")
    package = Path(sim.__file__).parent
    found = [
        path.name
        for folder in ("showing", "studies")
        for path in sorted((package / folder).rglob("*.py"))
        if path.name != "numbers.py" and again.search(path.read_text(encoding="utf-8"))
    ]
    assert found == []


def test_an_unknown_unit_is_a_fault_of_the_program() -> None:
    with pytest.raises(KeyError):
        format_length(1.0, "furlong")


@given(st.floats(-50.0, 50.0), st.sampled_from(["in", "ft"]))
def test_inches_are_rounded_to_the_nearest_sixteenth(metres: float, unit: str) -> None:
    read_back = text_to_metres(format_length(metres, unit))
    assert abs(read_back - metres) <= 0.0254 / 32 + 2e-9


@given(st.floats(-50.0, 50.0), st.sampled_from(["m", "cm", "mm"]))
def test_metric_lengths_are_rounded_to_a_millimetre(metres: float, unit: str) -> None:
    assert abs(text_to_metres(format_length(metres, unit)) - metres) <= 0.0005 + 2e-9
