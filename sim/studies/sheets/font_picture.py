"""How wide the letters of drawings are, as their font itself has it."""

from __future__ import annotations

import math
from functools import cache

from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font

FAMILY = "DejaVu Sans"
"""Comes with the drawing library, so that words are as wide everywhere."""
SIZE_PT = 100.0


@cache
def advance(letter: str, bold: bool) -> float:
    """Width of a letter with the gap behind it, in sizes of the letters, rounded up to a hundredth."""
    fixed_point: int = _font(bold).load_char(ord(letter)).linearHoriAdvance
    return math.ceil(fixed_point / 65536.0 / SIZE_PT * 100.0 - 1e-9) / 100.0


@cache
def _font(bold: bool) -> FT2Font:
    font = FT2Font(findfont(FontProperties(family=FAMILY, weight="bold" if bold else "normal")))
    font.set_size(SIZE_PT, 72)
    return font
