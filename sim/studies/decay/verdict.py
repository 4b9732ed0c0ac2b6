"""The decay time of a monitoring room: nominal value, tolerance over frequency, and the verdict of each octave.

Nominal: Tm = 0.25 s (V/100 m3)^(1/3), mean of 200 Hz to 4 kHz (ITU-R BS.1116-3; EBU Tech 3276 asks for 0.2 to 0.4 s
as well; from memory).  The tolerance is a record, so that another standard's can be given instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.acoustics.bands import Bands
from sim.arrays import BoolArray, FloatArray
from sim.responses.arrivals import nominal_reverberation_s
from sim.responses.records import Arrival
from sim.studies.decay.records import SURE, DecayAim, InitialGap, OctaveVerdict, RoomDecay

GAP_LEVEL_DB: Final = -20.0
"""A first reflection weaker than this, re direct sound, does not end the initial gap (common practice, no source)."""
AVERAGED_HZ: Final = (200.0, 4000.0)
"""Octaves whose mean is compared with the nominal time (ITU-R BS.1116-3)."""
JUST_ABOVE: Final = 1.0 + 1e-9


@dataclass(frozen=True, slots=True)
class DecayMask:
    """Tolerance about the nominal time in seconds, straight on a logarithmic axis between corners."""

    source: str
    corner_hz: tuple[float, ...]
    below_s: tuple[float, ...]
    above_s: tuple[float, ...]

    def limits(self, nominal_s: float, frequencies_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest decay time in seconds at frequencies of any shape."""
        at, corners = np.log(np.asarray(frequencies_hz)), np.log(self.corner_hz)
        below, above = np.interp(at, corners, self.below_s), np.interp(at, corners, self.above_s)
        return np.asarray(np.maximum(nominal_s - below, 0.0)), np.asarray(nominal_s + above)


LISTENING_ROOMS: Final = DecayMask(
    "ITU-R BS.1116-3 and EBU Tech 3276 (from memory, the ends less surely than 200 Hz to 4 kHz)",
    corner_hz=(63.0, 200.0, 4000.0, 4000.0 * JUST_ABOVE, 8000.0),
    below_s=(0.05, 0.05, 0.05, 0.10, 0.10),
    above_s=(0.30, 0.05, 0.05, 0.10, 0.10),
)


def aim_of(volume_m3: float, octaves: Bands, mask: DecayMask = LISTENING_ROOMS) -> DecayAim:
    """Nominal time and tolerance for a room's volume."""
    nominal = nominal_reverberation_s(volume_m3)
    lower, upper = mask.limits(nominal, octaves.nominal_hz)
    return DecayAim(nominal, lower, upper)


def judge_decay(
    octaves: Bands, judged: BoolArray, room: RoomDecay, aim: DecayAim, *, sure: float = SURE
) -> tuple[OctaveVerdict, ...]:
    """Verdict of each octave: T20 of the room against the tolerance, `sure` standard errors away from its limits."""
    return tuple(
        OctaveVerdict(
            float(hz),
            float(room.t20_s[o]),
            float(room.t20_error_s[o]),
            float(aim.lower_s[o]),
            float(aim.upper_s[o]),
            answer_for(
                float(room.t20_s[o]), sure * float(room.t20_error_s[o]), float(aim.lower_s[o]), float(aim.upper_s[o])
            )
            if judged[o]
            else "not judged by rays",
        )
        for o, hz in enumerate(octaves.nominal_hz)
    )


def answer_for(value_s: float, uncertainty_s: float, lower_s: float, upper_s: float) -> str:
    """One of the answers of `OctaveVerdict` for a time that may be off by a doubt either way."""
    if not np.isfinite([value_s, uncertainty_s]).all():
        return "not known"
    if value_s - uncertainty_s > upper_s:
        return "above"
    if value_s + uncertainty_s < lower_s:
        return "below"
    return (
        "within" if value_s - uncertainty_s >= lower_s and value_s + uncertainty_s <= upper_s else "too close to call"
    )


def mean_decay_s(octaves: Bands, t20_s: FloatArray) -> float:
    """Mean of the octaves from 200 Hz to 4 kHz, in seconds; not a number if one of them is none."""
    inside = (octaves.nominal_hz >= AVERAGED_HZ[0]) & (octaves.nominal_hz <= AVERAGED_HZ[1])
    return float(t20_s[inside].mean())


def initial_gaps(arrivals: Sequence[Arrival], level_db: float = GAP_LEVEL_DB) -> tuple[InitialGap, ...]:
    """Initial time delay gap of each loudspeaker at each listener: direct sound to first reflection that counts.

    A reflection counts if its highest octave of the target band is at or above `level_db` re direct sound; its time is
    that of the driver that matters most in it.
    """
    gaps = []
    for pair in dict.fromkeys((arrival.loudspeaker, arrival.listener) for arrival in arrivals):
        mine = [a for a in arrivals if (a.loudspeaker, a.listener) == pair and a.order > 0 and a.worst_db >= level_db]
        first = min(mine, key=lambda a: a.main.delay_ms, default=None)
        gaps.append(
            InitialGap(*pair, np.inf, level_db, "")
            if first is None
            else InitialGap(*pair, first.main.delay_ms, first.worst_db, first.way)
        )
    return tuple(gaps)
