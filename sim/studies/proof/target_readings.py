"""Measured curves against the target of a scene: the highest level in its window and octaves, and what made it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.measuring.curves import FIRST_MS
from sim.measuring.neighbours import pulse_energies
from sim.responses.energy_time import local_peaks
from sim.responses.records import Results
from sim.studies.match.records import Match, MatchedResponse
from sim.studies.proof.records import Highest, Met, TargetProof

READING_DB: Final = 1.5
"""How well the highest level of a curve is read off (common practice, no source)."""
OUT_OF_SKIRT_DB: Final = 6.0
"""A level less than this above the pulse of the direct sound itself is that pulse's."""
RISE_DB: Final = 2.0
NEAR_MS: Final = 0.3
"""A reflection this near in time may have made it."""


def target_proofs(before: Match, after: Match) -> tuple[TargetProof, ...]:
    """Hold each loudspeaker against the target, before and after, and as promised."""
    found = []
    for first, second in zip(before.responses, after.responses, strict=True):
        drawn = after.results.responses.energy_time
        curve = drawn.octave_db[after.numbers(second)]
        promised = highest(after.results, drawn.time_ms, curve, _delays(after.results, second))
        was, now = (
            highest(match.results, one.curves.time_ms, one.curves.octave_db, _named(one))
            for match, one in ((before, first), (after, second))
        )
        level = after.results.scene.blueprint.target.level_db
        found.append(TargetProof(second.loudspeaker, second.listener, was, now, promised, _met(now, level)))
    return tuple(found)


def _met(highest_one: Highest, target_db: float) -> Met:
    if np.isnan(highest_one.level_db) or highest_one.level_db <= target_db - READING_DB:
        return "pass"
    return "fail" if highest_one.level_db >= target_db + READING_DB else "borderline"


def highest(
    results: Results, time_ms: FloatArray, octave_db: FloatArray, made_by: Mapping[str, tuple[float, float]]
) -> Highest:
    """Highest peak of curves (band, t) in the window and the octaves of the target.

    made_by: words of each reflection, with its time in ms and its broadband level.
    """
    target, bands = results.scene.blueprint.target, results.responses.bands
    late_ms, pulse = pulse_energies(results.responses.response.frequencies_hz, bands)
    start, stop = max(target.window_ms[0], FIRST_MS), target.window_ms[1]
    best = Highest(float("nan"), float("nan"), float("nan"), "")
    for band, hz in enumerate(bands.nominal_hz):
        if not max(target.band_hz[0], results.responses.transition_hz) <= hz <= target.band_hz[1]:
            continue
        skirt = 10.0 * np.log10(np.interp(np.abs(time_ms), late_ms, np.maximum(pulse[band], 1e-12)))
        for place in local_peaks(octave_db[band], RISE_DB):
            time, level = float(time_ms[place]), float(octave_db[band, place])
            inside = start <= time <= stop and level > skirt[place] + OUT_OF_SKIRT_DB
            if inside and not level <= best.level_db:
                best = Highest(level, float(hz), time, "")
    if np.isnan(best.level_db):
        return best
    reach_ms = max(NEAR_MS, 500.0 / best.frequency_hz)  # half a period: a low pulse has its peak no nearer
    near = [(level, words) for words, (time, level) in made_by.items() if abs(time - best.time_ms) <= reach_ms]
    return Highest(best.level_db, best.frequency_hz, best.time_ms, max(near)[1] if near else "")


def _named(one: MatchedResponse) -> dict[str, tuple[float, float]]:
    """Measured peaks by what made them."""
    found: dict[str, tuple[float, float]] = {}
    for peak in one.peaks:
        words = peak.candidates[0].via if peak.named else "several together" if peak.together else "nothing drawn"
        if peak.level_db > found.get(words, (0.0, -np.inf))[1] or words not in found:
            found[words] = (peak.time_ms, peak.level_db)
    return found


def _delays(results: Results, one: MatchedResponse) -> dict[str, tuple[float, float]]:
    pair = (one.loudspeaker, one.listener)
    return {
        each.via: (each.main.delay_ms, each.worst_db)
        for each in results.responses.arrivals[::-1]
        if each.order and (each.loudspeaker, each.listener) == pair
    }
