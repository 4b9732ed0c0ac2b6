"""Numbers in sentences, headings and legends: hertz, decibels, and words in a row; one spelling for all questions.

A frequency that someone chose (a band, a crossover, an octave) reads "500 Hz" or "2 kHz".  One that was calculated or
measured, such as a notch, is a whole number of hertz, written where it stands.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim.acoustics.levels import SILENCE_DB


def hertz(frequency_hz: float) -> str:
    """Write a frequency the way people say it: "500 Hz", "2 kHz"."""
    return f"{frequency_hz / 1000:g} kHz" if frequency_hz >= 1000 else f"{frequency_hz:g} Hz"


def hertz_range(lowest_hz: float, highest_hz: float) -> str:
    """Write the ends of a band: "500 Hz to 8 kHz", and one frequency alone: "2 kHz"."""
    return hertz(lowest_hz) if lowest_hz == highest_hz else f"{hertz(lowest_hz)} to {hertz(highest_hz)}"


def short_hertz(frequency_hz: float) -> str:
    """Write a frequency where the heading or the axis says hertz: "500", "2k"."""
    return hertz(frequency_hz).removesuffix(" Hz").replace(" kHz", "k")


def level_words(level_db: float, decimals: int | None = None) -> str:
    """Write a level with a true minus sign, with a fixed number of decimals if given."""
    number = f"{level_db:g}" if decimals is None else f"{level_db:.{decimals}f}"
    return f"{number} dB".replace("-", "\N{MINUS SIGN}")


def tenths(value: float) -> str:
    """Write one decimal, and never a minus zero."""
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text


def joined(words: Sequence[str]) -> str:
    """Write words in a row: "a, b and c"; nothing for none."""
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)


def level_cell(level_db: float) -> str:
    """Write a level in a table whose heading says dB: a tenth of a decibel, or a stroke for silence."""
    return f"{level_db:.1f}" if math.isfinite(level_db) else "-"


def db_or_nothing(level_db: float) -> str:
    """Write a level in a sentence: "-12.3 dB", or "nothing" for silence."""
    return f"{level_db:.1f} dB" if level_db > SILENCE_DB else "nothing"
