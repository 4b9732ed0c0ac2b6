"""What was checked of a recording, one sentence each, the answer first."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from sim.measuring.from_recording import MeasuredResponse
from sim.showing.numbers import hertz

ENOUGH_DB: Final = 35.0
"""Peaks 20 dB under the direct sound then stand 15 dB above the noise (common practice, no source)."""


def impulse_lines(response: MeasuredResponse) -> list[str]:
    """What the command says."""
    faults = list(_faults(response))
    good = "Good to use" if not faults else "To be used with care" if not response.clipped else "Measure again"
    return [f"{good}: {response.headline()}.", *(f"  {fault}" for fault in faults), "", *_checks(response)]


def _faults(response: MeasuredResponse) -> Iterator[str]:
    if response.clipped:
        yield f"Clipped: {response.clipped} samples are at full scale; turn the input down and record it again."
    if response.inverted:
        yield (
            "Polarity: the direct sound begins negative. Compare with the other monitor; if only one does so, a cable"
            " is crossed."
        )
    low = [hz for hz, db in zip(response.octave_hz, response.signal_to_noise_db, strict=True) if db < ENOUGH_DB]
    if low:
        yield (
            f"Noise: less than {ENOUGH_DB:g} dB in the octaves {', '.join(hertz(float(hz)) for hz in low)}; play"
            " louder or longer."
        )


def _checks(response: MeasuredResponse) -> Iterator[str]:
    yield "Checked"
    yield f"  Clipping: {'none' if not response.clipped else f'{response.clipped} samples at full scale'}."
    if np.isfinite(response.signal_to_noise_db).any():
        each = ", ".join(
            f"{hertz(float(hz))} {db:.0f}"
            for hz, db in zip(response.octave_hz, response.signal_to_noise_db, strict=True)
            if math.isfinite(db)
        )
        yield f"  Peak above the noise, dB: {each}."
    if math.isfinite(response.drift_ppm):
        done = "taken out" if response.mended else "nothing to take out"
        yield f"  Clock drift: {response.drift_ppm:+.1f} ppm, {done}."
    yield f"  Polarity: the direct sound begins {'negative' if response.inverted else 'positive'}."
    if response.reference:
        yield (
            f"  Channel {response.reference} is the timing reference: sound left"
            f" {response.flight_time_ms:.2f} ms before it arrived on channel {response.channel}, the delay of the"
            " converters taken out."
        )
    else:
        yield f"  Channel {response.channel}; no timing reference, so that the time of flight is not known."
    for remark in response.remarks:
        yield f"  {remark[:1].upper()}{remark[1:]}."
