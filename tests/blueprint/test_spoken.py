"""Lengths, masses and volumes in sentences.  Inch, foot and pound: international yard and pound agreement, 1959."""

from __future__ import annotations

import pytest

from sim.blueprint.units import length_words, mass_words, small_words, thickness_words, volume_words


@pytest.mark.parametrize(
    ("metres", "unit", "said"),
    [
        (0.12, "m", "12 cm"),
        (0.1234, "mm", "12.5 cm"),
        (0.0024, "m", "less than 0.5 cm"),
        (-0.0024, "m", "less than 0.5 cm"),
        (0.0, "m", "0 cm"),
        (0.003, "in", "less than 1/4 in"),
        (float("inf"), "m", ""),
        (0.12, "in", "4 3/4 in"),
        (0.004, "ft", "1/4 in"),
        (0.0, "in", "0 in"),
        (-0.0508, "in", "-2 in"),
    ],
)
def test_small_lengths(metres: float, unit: str, said: str) -> None:
    assert small_words(metres, unit) == said


@pytest.mark.parametrize(
    ("metres", "unit", "said"),
    [
        (1.2, "cm", "1.20 m"),
        (1.2034, "m", "1.205 m"),
        (-0.001, "m", "0.00 m"),
        (float("nan"), "m", ""),
        (1.2, "in", "3 ft 11 1/4 in"),
        (0.9144, "ft", "3 ft"),
        (0.9143, "ft", "3 ft"),
        (0.2, "ft", "7 3/4 in"),
        (-1.2192, "in", "-4 ft"),
    ],
)
def test_lengths_in_a_room(metres: float, unit: str, said: str) -> None:
    assert length_words(metres, unit) == said


def test_thickness_mass_and_volume() -> None:
    assert (thickness_words(0.05, "mm"), thickness_words(0.0508, "in")) == ("50 mm", "2 in")
    assert (mass_words(7.04, "m"), mass_words(7.04, "m", 1), mass_words(10.0, "in")) == ("7 kg", "7.0 kg", "22 lb")
    assert (volume_words(34.27, "m", 1), volume_words(1.0, "ft")) == ("34.3 m3", "35 cubic feet")
