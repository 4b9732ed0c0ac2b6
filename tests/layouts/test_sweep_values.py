"""Ranges and lists as people write them, and what cannot be read."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.errors import SceneError
from sim.layouts.values import read_axis
from tests.studies.sweep.sweep_scenes import table

SCENE = table().blueprint


def values(name: str, text: str) -> list[float]:
    return read_axis(SCENE, name, text)[0].values.tolist()  # type: ignore[no-any-return]


def test_ranges_hold_both_ends_when_the_step_leads_there() -> None:
    assert values("left.tilt", "-10:15:5") == [-10, -5, 0, 5, 10, 15]
    assert values("left.tilt", "0:1:0.3") == [0, 0.3, 0.6, 0.9]
    assert values("left.tilt", "3:-3:-3") == [3, 0, -3]
    assert values("left.tilt", "4:4:1") == [4]
    assert values("desk.depth", "0.5:0.6:5cm") == [0.5, 0.55, 0.6]
    assert values("desk.depth", "20in:24in:2in") == [0.508, 0.5588, 0.6096]


def test_lists_are_kept_in_their_order() -> None:
    assert values("ear.up", "1.2,1.1,1.3") == [1.2, 1.1, 1.3]
    assert values("ear.up", "110 cm, 1.2") == [1.1, 1.2]
    axis, _ = read_axis(SCENE, "ear.up", [1.1, "130 cm"])
    assert axis.values.tolist() == [1.1, 1.3]
    assert (axis.unit, axis.words) == ("m", "ear.up")


def test_an_axis_says_who_moves_along() -> None:
    assert read_axis(SCENE, "left.tilt", "1")[0].words == "left.tilt, right with it"
    assert read_axis(SCENE, "left.tilt", "1", tied=False)[0].words == "left.tilt"


@given(st.integers(-500, 500), st.integers(1, 60), st.integers(1, 40))
def test_a_range_has_as_many_values_as_whole_steps(start: int, step: int, count: int) -> None:
    """In tenths of a degree, where no step is a whole number of binary fractions."""
    got = values("left.tilt", f"{start / 10}:{(start + step * count) / 10}:{step / 10}")
    np.testing.assert_allclose(got, [(start + step * k) / 10 for k in range(count + 1)], atol=1e-9)


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("left.tilt", "0:10:0", 'left.tilt: the step of "0:10:0" is zero; write a step such as 1'),
        ("left.tilt", "0:10:-1", 'left.tilt: the range "0:10:-1" is empty: its step runs the other way; write 0:10:1'),
        ("left.tilt", "10:0:1", "write 10:0:-1, or put the smaller value first"),
        ("left.tilt", "0:10", 'left.tilt: "0:10" is no range; write FROM:TO:STEP, such as left.tilt=-10:15:1'),
        ("left.tilt", "0::1", "is no range"),
        ("left.tilt", "1,1", "left.tilt: it has the same value twice; write each value once"),
        ("left.tilt", ",", "left.tilt: it has no values"),
        ("left.tilt", "1,,2", 'left.tilt: "" is no number'),
        ("left.tilt", "nan", 'left.tilt: "nan" is no number; write a finite one'),
        ("left.tilt", "0:10:1cm", 'left.tilt: "1cm" is no number; write it in degrees, without a unit'),
        ("desk.depth", "0.5:0.9:5 degrees", "is not a length"),
        ("desk.depth", "0:50:1um", "is not a length"),
        ("left.tilt", "0:1:1e-9", "1,000,000,001 values; take a larger step; 200,000 are the most"),
        ("nosuch.tilt", "1", "nothing that can be varied begins so"),
    ],
)
def test_what_cannot_be_read_is_told_in_one_sentence(name: str, text: str, words: str) -> None:
    with pytest.raises(SceneError) as fault:
        values(name, text)
    assert words in str(fault.value)
    assert "\n" not in str(fault.value)
