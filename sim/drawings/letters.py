"""How much room words take on paper, so that they can be placed before anything is drawn."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Final

MM_PER_POINT: Final = 25.4 / 72.0
LINE_HEIGHT: Final = 1.28
"""From line to line, in sizes of the letters."""
BOLD: Final = 1.17
"""Bold letters are wider by no more than this on average."""
OTHERWISE: Final = 0.85
"""Width of letters beyond plain ASCII, in sizes of the letters."""

# Advance widths of a plain sans serif (DejaVu Sans) for the characters from the blank to the tilde, in hundredths of
# the size, rounded up.
_WIDTHS: Final = (
    32, 41, 46, 84, 64, 96, 78, 28, 40, 40, 50, 84, 32, 37, 32, 34, 64, 64, 64, 64, 64, 64, 64, 64,
    64, 64, 34, 34, 84, 84, 84, 54, 100, 69, 69, 70, 78, 64, 58, 78, 76, 30, 30, 66, 56, 87, 75, 79,
    61, 79, 70, 64, 62, 74, 69, 99, 69, 62, 69, 40, 34, 40, 84, 50, 50, 62, 64, 55, 64, 62, 36, 64,
    64, 28, 28, 58, 28, 98, 64, 62, 64, 64, 42, 53, 40, 64, 60, 82, 60, 60, 53, 64, 34, 64, 84,
)  # fmt: skip


def text_width_mm(words: str, size_pt: float, *, bold: bool = False) -> float:
    """Width of one line of words in millimetres, rather too wide than too narrow."""
    hundredths = sum(_WIDTHS[ord(letter) - 32] if 32 <= ord(letter) < 127 else 100.0 * OTHERWISE for letter in words)
    return 0.01 * hundredths * size_pt * MM_PER_POINT * (BOLD if bold else 1.0)


def line_height_mm(size_pt: float) -> float:
    """From one line of words to the next, in millimetres."""
    return size_pt * MM_PER_POINT * LINE_HEIGHT


def wrapped(words: str, size_pt: float, width_mm: float, *, hanging: str = "") -> list[str]:
    """Break words into lines no wider than width_mm; hanging indents all lines but the first.

    A word that is too long for a line is cut.
    """
    letters = max(8, int(width_mm / (0.5 * size_pt * MM_PER_POINT)))
    while letters > 8:
        lines = textwrap.wrap(words, letters, subsequent_indent=hanging) or [""]
        if max(text_width_mm(line, size_pt) for line in lines) <= width_mm:
            return lines
        letters = int(0.97 * letters)
    return textwrap.wrap(words, 8, subsequent_indent=hanging) or [""]


def widest_mm(lines: Sequence[str], size_pt: float, *, bold: bool = False) -> float:
    """Width of the widest of some lines."""
    return max((text_width_mm(line, size_pt, bold=bold) for line in lines), default=0.0)
