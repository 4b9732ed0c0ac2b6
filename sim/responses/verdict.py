"""Arrivals against the target, and the frequency below which rays are not judged."""

from __future__ import annotations

from collections.abc import Sequence

from ..acoustics.bands import transition_frequency_hz
from ..blueprint.schema import Blueprint
from ..blueprint.targets import Target
from ..placement.stage import Stage
from .arrivals import in_window
from .records import Arrival, Verdict


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
