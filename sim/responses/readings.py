"""How well a peak or a dip is read off a measured curve, and how far it may lie from what was calculated."""

from __future__ import annotations

from typing import Final

READING_MS: Final = 0.05
"""How well a peak is read off an impulse response: two samples at 48 kHz (common practice, no source)."""
READING_FRACTION: Final = 0.03
"""How well a dip is read off a curve of a twelfth of an octave: half of that (common practice, no source)."""
WIDEST_FRACTION: Final = 2.0 ** (1.0 / 6.0) - 1.0
"""No dip further off than a sixth of an octave is a candidate (common practice, no source)."""
FAINTEST_DB: Final = -30.0
"""Weaker reflections do not stand out of a measured curve in a furnished room (common practice, no source)."""


def allowed_ms(placement_error_m: float, speed_m_s: float) -> float:
    """How far in ms a measured peak may lie from a reflection that makes it.

    The mirror image of a loudspeaker moves with it, and so does the direct sound: twice the error at most.
    """
    return READING_MS + 2.0e3 * placement_error_m / speed_m_s
