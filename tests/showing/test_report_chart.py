from __future__ import annotations

import re

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sim.showing.chart import LETTER_PX, Chart, Flag, Series, placed_flags, tenths


def chart(places, values, *, flags=(), logarithmic=False, across=(0.0, 10.0)) -> Chart:
    return Chart(
        "c",
        "a <chart>",
        np.asarray(places),
        (Series("one & two", np.asarray(values), "#123456"),),
        across,
        (-40.0, 0.0),
        ((5.0, "5"),),
        "ms",
        logarithmic=logarithmic,
        flags=tuple(flags),
    )


def line_of(made: str, css: str) -> np.ndarray:
    svg = re.search(rf'<svg class="{css}".*?</svg>', made)[0]
    path = re.search(r'class="line" data-series="0" d="M([^"]*)"', svg)[1]
    return np.array([[float(n) for n in pair.split()] for pair in path.split("L")])


def test_lines_run_where_the_values_are() -> None:
    made = chart([0.0, 5.0, 10.0], [-40.0, -20.0, 0.0]).markup()
    for css in ("wide", "narrow"):
        left, top, right, bottom = (
            float(n) for n in re.search(rf'class="{css}"[^>]*data-frame="([^"]*)"', made)[1].split()
        )
        np.testing.assert_allclose(
            line_of(made, css), [[left, bottom], [(left + right) / 2, (top + bottom) / 2], [right, top]], atol=0.06
        )
    assert "one &amp; two" in made
    assert "a &lt;chart&gt;" in made


def test_octaves_are_evenly_spaced_on_a_logarithmic_axis() -> None:
    across = line_of(chart([1.0, 2.0, 4.0, 8.0], [0.0] * 4, logarithmic=True, across=(1.0, 8.0)).markup(), "wide")[:, 0]
    np.testing.assert_allclose(np.diff(across), np.diff(across)[0], atol=0.11)


def test_thinning_keeps_the_narrowest_peak() -> None:
    places = np.linspace(0.0, 10.0, 20001)
    values = np.full(20001, -35.0)
    values[12345] = -2.0
    made = line_of(chart(places, values).markup(), "wide")
    assert len(made) < 4000
    assert made[:, 1].min() < made[:, 1].max() - 200.0


def test_data_hold_tenths() -> None:
    reported = chart([0.0, 10.0], [-12.34, -np.inf]).data()
    assert reported["series"] == [{"name": "one & two", "tenths": [-123, -2000]}]
    assert tenths(np.array([0.04, -0.06])) == [0, -1]


@given(
    st.lists(st.tuples(st.floats(0.0, 10.0), st.text("abc >", min_size=1, max_size=24), st.booleans()), max_size=16),
    st.booleans(),
)
def test_names_never_lie_over_each_other_nor_over_a_leader(flags: list[tuple[float, str, bool]], full: bool) -> None:
    drawn = chart(
        [0.0, 10.0], [0.0, 0.0], flags=[Flag(x, -10.0, words, words[:3], before) for x, words, before in flags]
    )
    width, left, right = (760.0, 46.0, 12.0) if full else (348.0, 40.0, 8.0)
    placed, rows = placed_flags(drawn, width, full)
    assert rows == 1 + max((row for _, row, _ in placed), default=-1)
    boxes = []
    for flag, row, anchor in placed:
        x = left + flag.x / 10.0 * (width - left - right)
        length = LETTER_PX * len(flag.words if full else flag.mark)
        low = {"start": x, "end": x - length, "middle": x - length / 2}[anchor]
        boxes.append((row, low, low + length, x))
        assert low >= -1e-6
        assert low + length <= width + 1e-6
    for i, (row, low, high, _) in enumerate(boxes):
        for j, (other, its_low, its_high, leader) in enumerate(boxes):
            if i == j:
                continue
            if row == other:
                assert high <= its_low + 1e-6 or its_high <= low + 1e-6
            if other > row:
                assert leader <= low + 1e-6 or leader >= high - 1e-6
