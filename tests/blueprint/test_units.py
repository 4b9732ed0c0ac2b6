from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from sim.blueprint.units import UNIT_M, Length, likely_units, text_to_metres

# International yard and pound agreement, 1959: 1 in = 25.4 mm and 1 ft = 12 in, exactly.
EXACT = {"m": Fraction(1), "cm": Fraction(1, 100), "mm": Fraction(1, 1000)}
EXACT |= {"in": Fraction(254, 10000), "ft": Fraction(3048, 10000)}


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("2.4 m", 2.4),
        ("240cm", 2.4),
        ("2400 mm", 2.4),
        ("24 in", 0.6096),
        ("24 inches", 0.6096),
        ('24"', 0.6096),
        ("8 ft", 2.4384),
        ("8 feet", 2.4384),
        ("8'", 2.4384),
        ("7 ft 10 1/2 in", 2.4003),
        ("7' 10 1/2\"", 2.4003),
        ("7′ 10 1/2″", 2.4003),
        ("7’10”", 2.3876),
        ("5/8 in", 0.015875),
        ("11/2 in", 0.1397),
        ("7 ft 11/2 in", 2.2733),
        ("1 1/2 in", 0.0381),
        ("2 m 40 cm", 2.4),
        ("2,40 m", 2.4),
        (".5 m", 0.5),
        ("-3 cm", -0.03),
        ("+3 cm", 0.03),
        ("  12 metres ", 12.0),
    ],
)
def test_a_length_is_read_as_written(text: str, metres: float) -> None:
    assert text_to_metres(text) == metres


@pytest.mark.parametrize(
    "text", ["", "  ", "4.2", "m", "four m", "4.2 yd", "4 m 2 m", "10 in 7 ft", "3 1/2", "+-3 m", "1e3 mm", "2 m tall"]
)
def test_what_is_no_length_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(ValueError, match="is not a length; write") as fault:
        text_to_metres(text)
    assert f'"{text}"' in str(fault.value)


def test_a_comma_that_may_part_thousands_is_refused() -> None:
    with pytest.raises(ValueError, match=r'"1,200 mm" has a comma .*; write no thousands separator'):
        text_to_metres("1,200 mm")


def test_a_fraction_by_zero_is_refused() -> None:
    with pytest.raises(ValueError, match='"1/0 in" divides by zero'):
        text_to_metres("1/0 in")


@given(st.sampled_from(sorted(UNIT_M)), st.integers(0, 5_000_000))
def test_every_unit_agrees_with_exact_arithmetic(unit: str, thousandths: int) -> None:
    exact = Fraction(thousandths, 1000) * EXACT[unit]
    assert abs(text_to_metres(f"{thousandths / 1000:.3f} {unit}") - float(exact)) <= 5.1e-10


@given(st.integers(0, 40), st.integers(0, 11), st.integers(0, 63))
def test_feet_inches_and_fractions_add_up(feet: int, inches: int, sixty_fourths: int) -> None:
    exact = feet * EXACT["ft"] + (inches + Fraction(sixty_fourths, 64)) * EXACT["in"]
    for text in (f"{feet} ft {inches} {sixty_fourths}/64 in", f"{feet}' {inches} {sixty_fourths}/64\""):
        assert abs(text_to_metres(text) - float(exact)) <= 5.1e-10


@given(st.sampled_from(sorted(UNIT_M)), st.floats(-15.0, 15.0))
def test_a_number_in_any_unit_of_the_file_comes_back(unit: str, metres: float) -> None:
    read = TypeAdapter(Length).validate_python(metres / UNIT_M[unit], context={"unit": unit})
    assert abs(read - metres) <= 5.1e-10
    assert TypeAdapter(Length).validate_python(read) == read


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 10**400, True, None, [1.0], {"m": 1}])
def test_what_is_not_a_finite_length_is_refused(value: Any) -> None:
    with pytest.raises(ValidationError):
        TypeAdapter(Length).validate_python(value)


def test_likely_units_of_a_number() -> None:
    assert likely_units(4200, "m", (1.8, 15.0)) == ["mm"]
    assert likely_units(420, "m", (1.8, 15.0)) == ["cm", "in"]
    assert likely_units(3.4, "mm", (1.8, 15.0)) == ["m"]
