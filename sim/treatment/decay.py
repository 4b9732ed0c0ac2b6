"""What panels do to the decay of the whole room: statistical, and rough in small rooms.

Times are Eyring's, of all surfaces and air (`sim.responses.statistical_decay`).  A panel takes the place of the wall
behind it with the coefficient of its layers at random incidence.

Neglected: that the absorption of a small room is not spread evenly, the sides of panels, what they shade, and people.
"""

from __future__ import annotations

from ..acoustics.bands import octave_bands
from ..arrays import FloatArray, frozen
from ..placement.stage import Stage
from ..responses.statistical_decay import eyring_s
from ..responses.verdict import nominal_reverberation_s
from .records import Decay

TOLERANCE_S = 0.05
"""Allowed off the nominal time in the middle octaves (ITU-R BS.1116-3 and EBU Tech 3276, value from memory)."""
MIDDLE_HZ = (500.0, 2000.0)
LOW_HZ = (125.0, 250.0)
TOP_HZ = (2000.0, 8000.0)
TOP_ONLY = 2.0
"""A plan that shortens the top by this many times the share it shortens the low octaves is said to (our choice)."""

ROUGH = (
    "Decay by Eyring's formula is statistical: it takes the absorption as spread evenly and the room as large against "
    "the wavelength, and in a small room it is rough, below the transition frequency meaningless."
)


def decay_of(bare: Stage, treated: Stage) -> Decay:
    """Decay of a room before and after panels are added; octaves 125 Hz to 8 kHz."""
    before, after = eyring_s(bare), eyring_s(treated)
    octaves = octave_bands(63, 8000)
    keep = octaves.nominal_hz >= 125.0
    aim = nominal_reverberation_s(bare.volume_m3)
    mid = octaves.nominal_hz[keep]
    return Decay(
        frozen(mid), frozen(before[keep]), frozen(after[keep]), aim,
        (ROUGH, *_warnings(mid, before[keep], after[keep], aim)),
    )  # fmt: skip


def _warnings(mid_hz: FloatArray, before: FloatArray, after: FloatArray, aim_s: float) -> list[str]:
    said = []
    middle = _mean(mid_hz, after, MIDDLE_HZ)
    if middle < aim_s - TOLERANCE_S:
        said.append(
            f"The room would be dry: {middle:.2f} s in the middle octaves, more than {TOLERANCE_S:.2f} s below the "
            f"{aim_s:.2f} s that suit its volume. Take fewer or smaller panels, or scatter instead."
        )
    elif middle > aim_s + TOLERANCE_S:
        said.append(
            f"The room stays lively: {middle:.2f} s in the middle octaves where {aim_s:.2f} s suit its volume; this "
            "plan is for early reflections only."
        )
    top = 1.0 - _mean(mid_hz, after, TOP_HZ) / _mean(mid_hz, before, TOP_HZ)
    low = 1.0 - _mean(mid_hz, after, LOW_HZ) / _mean(mid_hz, before, LOW_HZ)
    if top > 0.1 and top > TOP_ONLY * low:
        said.append(
            f"It takes {100 * top:.0f} % off the decay of the top octaves and {100 * low:.0f} % off that of 125 and "
            "250 Hz: more of it would make the room dull and leave the bass as it is. Treat the low end separately."
        )
    return said


def _mean(mid_hz: FloatArray, times: FloatArray, within: tuple[float, float]) -> float:
    return float(times[(mid_hz >= within[0]) & (mid_hz <= within[1])].mean())
