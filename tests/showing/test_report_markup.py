from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.showing.page import bullets, data_script, escaped, number, row, table, typeset


@given(st.text())
def test_data_come_back_whole_and_cannot_end_their_element(text: str) -> None:
    script = data_script("x", {"words": text})
    inside = script.removeprefix('<script type="application/json" id="x">').removesuffix("</script>")
    assert "<" not in inside
    assert ">" not in inside
    assert json.loads(inside) == {"words": text}


def test_numbers_that_are_none_are_refused_in_data() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        data_script("x", [math.nan])


@pytest.mark.parametrize(
    ("value", "decimals", "words"),
    [
        (-2.345, 1, "−2.3"),
        (-0.04, 1, "0.0"),
        (3.0, 2, "3.00"),
        (math.nan, 1, "–"),
        (-math.inf, 1, "–"),
        (17.0, 0, "17"),
    ],
)
def test_numbers_in_words(value: float, decimals: int, words: str) -> None:
    assert number(value, decimals) == words


def test_minus_signs_are_set_and_hyphens_are_not() -> None:
    assert (
        typeset("to -15 dB in 1-2 kHz, self-made, <-3>")
        == "to −15\N{NO-BREAK SPACE}dB in 1-2\N{NO-BREAK SPACE}kHz, self-made, &lt;−3&gt;"
    )


def test_tables_and_lists_escape_and_name_themselves() -> None:
    made = table(escaped('a "b" & c'), ["x", "y"], [row(["1", "2"])])
    assert 'aria-label="a &quot;b&quot; &amp; c"' in made
    assert '<th scope="row">1</th><td class="num">2</td>' in made
    assert bullets(["<i>"]) == "<ul><li>&lt;i&gt;</li></ul>"
    assert bullets([], "None <here>.") == "<p>None &lt;here&gt;.</p>"
    assert bullets([]) == ""
