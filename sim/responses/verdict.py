"""Arrivals against the target, and the frequency below which rays are not judged."""

from __future__ import annotations

from collections.abc import Sequence

from ..acoustics.bands import transition_frequency_hz
from ..blueprint.schema import Blueprint, Target
from ..placement.stage import Stage
from .arrivals import in_window
from .records import Arrival, Verdict

PRESETS: dict[str, Target] = {
    "-10 dB to 15 ms": Target(level_db=-10.0, window_ms=(0.0, 15.0), band_hz=(1000.0, 8000.0)),
    "-15 dB to 20 ms": Target(level_db=-15.0, window_ms=(0.0, 20.0), band_hz=(1000.0, 8000.0)),
    "-20 dB to 20 ms": Target(level_db=-20.0, window_ms=(0.0, 20.0), band_hz=(500.0, 8000.0)),
}
"""The first as in ITU-R BS.1116-3 section 8 and EBU Tech 3276 section 2.2 (values from memory; one later article
asks for 15 dB); the second is an everyday working target (common practice, no source); the third is that of
reflection-controlled rooms (BBC Research Department, 1993-95, from memory)."""


def judge(arrivals: Sequence[Arrival], target: Target) -> tuple[Verdict, ...]:
    """Say for each loudspeaker and listener which arrivals are above the target inside its window."""
    pairs = dict.fromkeys((arrival.loudspeaker, arrival.listener) for arrival in arrivals)
    verdicts = []
    for loudspeaker, listener in pairs:
        mine = [a for a in arrivals if (a.loudspeaker, a.listener) == (loudspeaker, listener) and a.order > 0]
        above = sorted((a for a in mine if a.worst_db > target.level_db), key=lambda a: -a.worst_db)
        offenders = tuple(a.number for a in above if in_window(a, target))
        outside = tuple(a.number for a in above if not in_window(a, target))
        verdicts.append(Verdict(loudspeaker, listener, not offenders, offenders, outside))
    return tuple(verdicts)


def nominal_reverberation_s(volume_m3: float) -> float:
    """0.25 s (V/100 m3)^(1/3): nominal decay time of a listening room (ITU-R BS.1116-3, value from memory)."""
    return float(0.25 * (volume_m3 / 100.0) ** (1.0 / 3.0))


def judged_from_hz(blueprint: Blueprint, stage: Stage) -> float:
    """Transition frequency in Hz below which single resonances rule and rays are not judged.

    Uses the measured decay time of the scene, or the nominal one of a listening room of this volume.
    """
    decay_s = blueprint.room.reverberation_time_s or nominal_reverberation_s(stage.volume_m3)
    return transition_frequency_hz(decay_s, stage.volume_m3)
