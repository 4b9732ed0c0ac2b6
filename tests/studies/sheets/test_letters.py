from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font

from sim.studies.sheets.labels import line_height_mm, text_width_mm, widest_mm, wrapped

PRINTABLE = "".join(chr(code) for code in range(32, 127))


def true_width_mm(words: str, size_pt: float, weight: str) -> float:
    """Advance widths as the font itself has them."""
    font = FT2Font(findfont(FontProperties(family="DejaVu Sans", weight=weight)))
    font.set_size(100.0, 72)
    units = sum(font.load_char(ord(letter)).linearHoriAdvance for letter in words)  # type: ignore[attr-defined]
    return float(units) / 65536.0 / 100.0 * size_pt * 25.4 / 72.0


@given(st.text(alphabet=PRINTABLE, min_size=1, max_size=60))
def test_words_are_never_wider_than_told(words: str) -> None:
    assert text_width_mm(words, 7.0) >= true_width_mm(words, 7.0, "normal") - 1e-6
    assert text_width_mm(words, 7.0) <= 1.06 * true_width_mm(words, 7.0, "normal") + 0.03 * len(words)


@pytest.mark.parametrize(
    "words", ["Wall elevation: left wall", "Both diagonals", "Scale 1:25 on A4", "690 to 1290", "P12"]
)
def test_bold_words_fit_too(words: str) -> None:
    assert text_width_mm(words, 9.0, bold=True) >= true_width_mm(words, 9.0, "bold")


@given(st.lists(st.text(alphabet=string.ascii_letters, min_size=1, max_size=9), min_size=1, max_size=30))
def test_wrapped_lines_fit_and_lose_nothing(words: list[str]) -> None:
    lines = wrapped(" ".join(words), 7.0, 40.0)
    assert " ".join(lines).split() == words
    assert widest_mm(lines, 7.0) <= 40.0


def test_lines_stand_apart_by_more_than_the_letters_are_tall() -> None:
    assert line_height_mm(10.0) > 10.0 * 25.4 / 72.0
