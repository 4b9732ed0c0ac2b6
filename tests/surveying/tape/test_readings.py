"""Tape readings as people type them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.units import UNIT_M
from sim.surveying.tape.readings import likely_reading, reading_to_metres

FOOT, INCH = 0.3048, 0.0254
"""International foot and inch, exact since 1959."""


@pytest.mark.parametrize(
    ("text", "units", "metres"),
    [
        ("3.41 m", "in", 3.41),
        ("3,41 m", "ft", 3.41),
        ("3,41", "m", 3.41),
        ("341", "cm", 3.41),
        ("3410 MM", "m", 3.41),
        ("3 m 41 cm", "in", 3.41),
        ("11 ft 2 1/4 in", "m", 11 * FOOT + 2.25 * INCH),
        ("11' 2 1/4\"", "m", 11 * FOOT + 2.25 * INCH),
        ("11'2¼\"", "cm", 11 * FOOT + 2.25 * INCH),
        ("11' 2-1/4", "cm", 11 * FOOT + 2.25 * INCH),
        ("11' 2''", "m", 11 * FOOT + 2 * INCH),
        ("11 feet 2", "m", 11 * FOOT + 2 * INCH),
        ("134 1/4", "in", 134.25 * INCH),
        ("1/2", "in", 0.5 * INCH),
        ("134", "in", 134 * INCH),
    ],
)
def test_readings_in_any_unit_and_mixed(text: str, units: str, metres: float) -> None:
    assert reading_to_metres(text, units) == pytest.approx(metres, abs=1e-8)


@pytest.mark.parametrize("text", ["wide", "", "3.4 yd", "3,410", "1.2.3", "2 in 3 ft", "3 m 41", "m", "1/0 in"])
def test_what_is_no_reading_is_one_sentence(text: str) -> None:
    with pytest.raises(ValueError, match=r"; w") as fault:
        reading_to_metres(text, "m")
    assert "\n" not in str(fault.value)


@given(metres=st.floats(0.05, 20.0), units=st.sampled_from(list(UNIT_M)))
def test_a_number_with_its_unit_is_read_whatever_the_tape_is_in(metres: float, units: str) -> None:
    number = metres / UNIT_M[units]
    for text in (f"{number:.4f} {units}", f"{number:.4f}{units.upper()}", f"{number:.4f} {units}".replace(".", ",")):
        assert reading_to_metres(text, "m") == pytest.approx(metres, abs=1e-4)
    assert reading_to_metres(f"{number:.6f}", units) == pytest.approx(metres, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "units", "taken", "words"),
    [
        ("341", "m", "341 cm", "341 is taken as 341 cm, which is 3.410 m."),
        ("3410", "m", "3410 mm", "3410 is taken as 3410 mm, which is 3.410 m."),
        ("12.5", "m", "12.5", ""),
        ("341", "cm", "341", ""),
        ("341", "in", "341", ""),
        ("341 m", "m", "341 m", ""),
        ("9999999", "m", "9999999", ""),
    ],
)
def test_a_bare_number_that_is_no_wall_in_metres_is_taken_as_smaller_and_said(
    text: str, units: str, taken: str, words: str
) -> None:
    assert likely_reading(text, units) == (taken, words)
