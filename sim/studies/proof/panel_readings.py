"""What panels did, read off two measured energy-time curves at the reflections that meet them.

A reflection that meets one panel is looked for in the curve of each octave at the time when it should arrive, before
and after; the difference is what the panel took.  Other reflections arrive while an octave's pulse lasts, so less of it
shows than was promised, and each reading has the error that their unknown phases make (`sim.measuring.neighbours`).
Readings of one panel are weighted by the inverse squares of their errors.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.measuring.neighbours import highest_energies, level_at, level_errors_db, pulse_energies
from sim.responses.energy_time import broadband_db
from sim.responses.records import Arrival, Results
from sim.studies.match.records import Match, MatchedResponse
from sim.studies.proof.records import AS_PROMISED, LESS, NOTHING, UNTOLD, Judged, PanelOctave, PanelProof

READING_DB: Final = 1.0
"""How well a level is read off a curve (common practice, no source)."""
COMMON_DB: Final = 1.0
"""What all readings of one panel may be off together; more readings do not help against it (our choice)."""
MANY_DB: Final = 5.57
"""Standard deviation of the level of many sounds with unknown phases (Schroeder, Acustica 4 (1954) 594-600)."""
WIDEST_DB: Final = 7.0
"""A reading that neighbours make more uncertain than this is left out."""
FAINTEST_DB: Final = -28.0
"""Reflections weaker than this before the panels came are not read (common practice, no source)."""
ABOVE_NOISE_DB: Final = 10.0
LEAST_PROMISE_DB: Final = 1.5
"""Where less than this shows at the microphone, nothing is judged."""
AS_GOOD_DB: Final = 2.0
"""A panel that is this near to its promise keeps it (common practice, no source)."""
SAME_MS: Final = 0.02
REACH_S: Final = 0.3
"""A level is the highest within this part of the period of its octave, and within a reading of its time."""
READ_MS: Final = 0.1
SURE: Final = 1.96


@dataclass(frozen=True, slots=True)
class _Reading:
    """One reflection at one panel, each (band,): promised, visible and measured reduction, and its standard error."""

    panel: str
    promised_db: FloatArray
    visible_db: FloatArray
    measured_db: FloatArray
    error_db: FloatArray


def panel_proofs(before: Match, after: Match) -> tuple[PanelProof, ...]:
    """Hold what each panel of the scene did against what it promised, in the octaves of the target."""
    bands, target = after.results.responses.bands, after.results.scene.blueprint.target
    wanted = [
        band
        for band, hz in enumerate(bands.nominal_hz)
        if max(target.band_hz[0], after.results.responses.transition_hz) <= hz <= target.band_hz[1]
    ]
    pulse = pulse_energies(after.results.responses.response.frequencies_hz, bands)
    readings: list[_Reading] = []
    for first, second in zip(before.responses, after.responses, strict=True):
        readings += _readings((before, first), (after, second), pulse)
    return tuple(
        _proof(
            panel.name, panel.surface, [one for one in readings if one.panel == panel.name], wanted, bands.nominal_hz
        )
        for panel in after.results.built.panels
    )


def _readings(
    before: tuple[Match, MatchedResponse], after: tuple[Match, MatchedResponse], pulse: tuple[FloatArray, FloatArray]
) -> Iterator[_Reading]:
    """Each reflection that meets one panel, of one loudspeaker."""
    bare, hung = (_arrivals(match.results, one) for match, one in (before, after))
    energies = [10.0 ** (np.array([each.level_db for each in some]) / 10.0) for some in (bare, hung)]
    times = [_times(match, one, some) for (match, one), some in ((before, bare), (after, hung))]
    reach_ms = np.array([max(READ_MS, 1.0e3 * REACH_S / hz) for hz in after[0].results.responses.bands.nominal_hz])
    whole_before, whole_after = (_highest(some, pulse, reach_ms) for some in (bare, hung))
    for k, arrival in enumerate(bare):
        if not arrival.order or arrival.diffracted or broadband_db(arrival) < FAINTEST_DB:
            continue
        twin = _twin(arrival, hung)
        panels = {panel for panel in hung[twin].panels if panel} if twin >= 0 else set()
        if len(panels) != 1:
            continue
        own, own_after = energies
        levels = np.array(
            [
                [
                    level_at(one.curves.time_ms, curve, time, within)
                    for curve, within in zip(one.curves.octave_db, reach_ms, strict=True)
                ]
                for (_, one), time in ((before, times[0][k]), (after, times[1][twin]))
            ]
        )
        error = np.sqrt(
            _phases_db(own[k], whole_before[k]) ** 2
            + _phases_db(own_after[twin], whole_after[twin]) ** 2
            + 2.0 * READING_DB**2
        )
        noise = before[1].curves.noise_db
        error[levels[0] < (noise if np.isfinite(noise) else -np.inf) + ABOVE_NOISE_DB] = np.inf
        yield _Reading(
            panels.pop(),
            arrival.level_db - hung[twin].level_db,
            10.0 * np.log10(whole_before[k] / whole_after[twin]),
            levels[0] - levels[1],
            np.where(np.isfinite(levels).all(axis=0), error, np.inf),
        )


def _arrivals(results: Results, one: MatchedResponse) -> list[Arrival]:
    pair = (one.loudspeaker, one.listener)
    return [each for each in results.responses.arrivals if (each.loudspeaker, each.listener) == pair]


def paired_arrivals(before: Match, after: Match, turn: int) -> Iterator[tuple[Arrival, Arrival]]:
    """Reflections of one measured loudspeaker in the scene without panels, each with itself in the one with them."""
    bare, hung = (_arrivals(match.results, match.responses[turn]) for match in (before, after))
    for arrival in bare:
        twin = _twin(arrival, hung) if arrival.order and not arrival.diffracted else -1
        if twin >= 0:
            yield arrival, hung[twin]


def _highest(arrivals: Sequence[Arrival], pulse: tuple[FloatArray, FloatArray], within_ms: FloatArray) -> FloatArray:
    delays = np.array([each.main.delay_ms for each in arrivals])
    return highest_energies(delays, np.array([each.level_db for each in arrivals]), pulse, within_ms)


def _phases_db(own: FloatArray, whole: FloatArray) -> FloatArray:
    """Standard error (band,) of a level by the unknown phases of all that is in it but the reflection itself."""
    others = np.maximum(whole - own, 0.0)
    return np.minimum(level_errors_db(np.maximum(own, 1e-30), others), MANY_DB)


def _times(match: Match, one: MatchedResponse, arrivals: Sequence[Arrival]) -> list[float]:
    """When each arrives at the microphone: where its peak was named, else as the fit of the scene's numbers has it."""
    named = {peak.candidates[0].number: peak.time_ms for peak in one.peaks if peak.named}
    expected = dict(one.expected)
    return [
        named.get(each.number, expected.get(each.number, each.main.delay_ms)) if each.order else 0.0
        for each in arrivals
    ]


def _twin(arrival: Arrival, others: Sequence[Arrival]) -> int:
    """The same reflection in the scene with the panels, -1 where there is none."""
    for k, each in enumerate(others):
        alike = (each.kind, each.surfaces, each.owners) == (arrival.kind, arrival.surfaces, arrival.owners)
        if alike and abs(each.main.delay_ms - arrival.main.delay_ms) <= SAME_MS:
            return k
    return -1


def _proof(
    panel: str, surface: str, readings: Sequence[_Reading], wanted: Sequence[int], hertz: FloatArray
) -> PanelProof:
    octaves = tuple(_octave(readings, band, float(hertz[band])) for band in wanted)
    told = [one for one in octaves if one.verdict != UNTOLD]
    if not told:
        none = float("nan")
        return PanelProof(panel, surface, octaves, none, none, none, none, UNTOLD)
    weights = np.array([1.0 / one.error_db**2 for one in told])
    promise, visible, measured = (
        float(np.average(each, weights=weights))
        for each in (
            [one.promised_db for one in told],
            [one.visible_db for one in told],
            [one.measured_db for one in told],
        )
    )
    error = float(np.sqrt(1.0 / weights.sum() + (SURE * COMMON_DB) ** 2))
    verdict = judged(visible, measured, error)
    return PanelProof(panel, surface, octaves, promise, visible, measured, error, verdict)


def _octave(readings: Sequence[_Reading], band: int, hz: float) -> PanelOctave:
    some = [one for one in readings if one.error_db[band] <= WIDEST_DB]
    promised = [float(one.promised_db[band]) for one in readings]
    if not some:
        most = max(promised, default=float("nan"))
        return PanelOctave(hz, most, float("nan"), float("nan"), float("nan"), 0, UNTOLD)
    weights = np.array([1.0 / one.error_db[band] ** 2 for one in some])
    promise, visible, measured = (
        float(np.average([one[band] for one in each], weights=weights))
        for each in (
            [one.promised_db for one in some],
            [one.visible_db for one in some],
            [one.measured_db for one in some],
        )
    )
    error = SURE * float(np.sqrt(1.0 / weights.sum() + COMMON_DB**2))
    return PanelOctave(hz, promise, visible, measured, error, len(some), judged(visible, measured, error))


def judged(visible_db: float, measured_db: float, error_db: float) -> Judged:
    """Measured reduction against what was promised of it at the microphone, the error being half of 95 %.

    Where the interval is so wide that nothing and the promise cannot be told apart, neither is said.
    """
    if visible_db < max(LEAST_PROMISE_DB, 2.0 * error_db):
        return UNTOLD
    if measured_db >= visible_db - max(error_db, AS_GOOD_DB):
        return AS_PROMISED
    return NOTHING if measured_db <= error_db else LESS
