"""The question: measured impulse responses held against the traced scene."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.error_messages import number_of
from sim.blueprint.reader import AnyScene
from sim.errors import SceneError
from sim.measuring.curves import MeasuredCurves, direct_levels, measured_curves, standing_out
from sim.measuring.deconvolution import direct_sound, envelope
from sim.measuring.response_files import read_responses as responses_of
from sim.measuring.wave_files import Recording
from sim.placement.built_scene import BuiltScene
from sim.progress import Report, say_nothing
from sim.responses.energy_time import PEAK_RISE_DB, SAME_TIME_MS, local_peaks
from sim.responses.notches import dips_of
from sim.responses.readings import FAINTEST_DB, WIDEST_FRACTION, allowed_ms
from sim.responses.records import Results
from sim.showing.archive.kept_traces import results_of
from sim.studies.match.absorption import surface_levels
from sim.studies.match.correction import correction_of, seat_of
from sim.studies.match.misplaced import find_off, movable
from sim.studies.match.naming import (
    TIE,
    Heard,
    Predicted,
    assign,
    costs,
    find_seat,
    predicted_of,
    time_error_ms,
    total_cost,
)
from sim.studies.match.records import (
    Match,
    MatchedResponse,
    MeasuredDip,
    MeasuredPeak,
    MissingPeak,
    PeakCandidate,
    SeatShift,
)
from sim.studies.match.unknown import possible_spots

STRONG_DB, STRONG_MS = -20.0, 15.0
"""What the verdict speaks of: what stands out and is early (common practice, no source)."""
LAST_MS: Final = 20.0
"""Later, reflections of a room lie too dense to be told apart."""
ABOVE_NOISE_DB: Final = 6.0
MOST_CANDIDATES: Final = 5
MISSING_DB: Final = 6.0
"""A predicted peak is missing where the measured curve stays this far below it."""
TOGETHER_DB: Final = 3.0
"""A peak of the calculated curve without a name is the measured one when their levels are this near (our choice)."""
SWAPPED: Final = (0.7, 15.0)
"""Left and right are said to be swapped where that takes the cost to this part of it, and by this much."""


def match(
    scene: AnyScene | Results,
    responses: Sequence[Path | str],
    report: Report = say_nothing,
    *,
    loudspeakers: Sequence[str] | None = None,
    listener: str | None = None,
    order: int | None = None,
) -> Match:
    """Hold measured impulse responses against a scene: which reflection made which peak, what is missing or unknown.

    Parameters
    ----------
    scene
        The scene, or what `trace` returned of it.
    responses
        Files: WAV of one channel, text with time and value, or AES69 with one microphone; one response for each
        loudspeaker.
    report
        Called with a few words at the start of each stage.
    loudspeakers
        Whose response each file is; left out, from left to right as seen from the seat.
    listener
        Where the microphone was; left out, the ear.
    order
        Most surfaces a path may touch, where the scene is still to be traced.

    Raises
    ------
    SceneError
        If a file or the scene cannot be read, or names do not fit.
    """
    heard = read_responses(responses)

    def paired(built: BuiltScene) -> tuple[list[int], int]:
        return _pairs(built, heard, loudspeakers, listener)

    results = results_of(scene, report, order=order, refuse=paired)
    numbers, place = paired(results.built)
    report("holding the measurement against it")
    return _matched(results, heard, numbers, place)


def read_responses(files: Sequence[Path | str]) -> list[Recording]:
    """Read impulse responses, of an AES69 file all that it holds; SceneError for one that cannot be."""
    return [one for file in files for one in responses_of(Path(os.fspath(file)))]


def _pairs(
    built: BuiltScene, heard: Sequence[Recording], loudspeakers: Sequence[str] | None, listener: str | None
) -> tuple[list[int], int]:
    """Number of the loudspeaker of each file, and of the listener."""
    names = [one.name for one in built.loudspeakers]
    place = 0 if listener is None else number_of("listener", listener, built.listener_names)
    if loudspeakers is None:
        if len(heard) != len(names):
            raise SceneError(
                "loudspeaker",
                f"{len(heard)} file{'s' * (len(heard) != 1)} for {len(names)} ({', '.join(names)})",
                "say with --loudspeaker NAME whose each file is",
            )
        return sorted(range(len(names)), key=lambda s: float(built.loudspeakers[s].axis_point[1])), place
    if len(loudspeakers) != len(heard) or len(set(loudspeakers)) < len(loudspeakers):
        raise SceneError(
            "loudspeaker", f"{len(loudspeakers)} given for {len(heard)} files", "give each file a name of its own"
        )
    return [number_of("loudspeaker", name, names) for name in loudspeakers], place


def _matched(results: Results, files: Sequence[Recording], numbers: list[int], place: int) -> Match:
    built, found = results.built, results.responses
    speed, placement = built.air.speed_of_sound_m_s, results.scene.blueprint.method.placement_error
    drawn, shape = found.energy_time, (found.response.frequencies_hz, found.response.window.window_ms)
    curves = []
    for file, s in zip(files, numbers, strict=True):
        levels = np.vstack([drawn.broadband_db[s, place], drawn.octave_db[s, place]])
        curves.append(measured_curves(file, found.bands, *shape, direct_levels(drawn.time_ms, levels, found.bands)))
    stands = [_standing(one) for one in curves]
    heard = [
        Heard(one.time_ms[places], one.broadband_db[places]) for one, (places, _) in zip(curves, stands, strict=True)
    ]
    predicted = [_predicted(results, s, place) for s in numbers]
    error_ms = time_error_ms(placement, speed)
    pairs = list(zip(heard, predicted, strict=True))
    alone = find_seat(pairs, error_ms)
    moves = movable(results, predicted, numbers, place)
    fitted = find_off(pairs, moves, alone.shift_m, error_ms)
    correction = correction_of(results, moves, numbers, place, fitted)
    seat, moved = alone, predicted
    if correction.peaks:
        seat = seat_of(correction)
        moved = moves.moved(fitted[0].off) if correction.moved else predicted
    else:
        error_ms = 0.5 * allowed_ms(placement, speed)
    matched = [
        MatchedResponse(
            built.loudspeakers[s].name,
            built.listener_names[place],
            file.name,
            measured,
            peaks := _peaks(results, (s, place), (*pair, shifted), prominence, seat, error_ms),
            _missing(measured, (*pair, shifted), peaks, error_ms),
            _dips(results, built.loudspeakers[s].name, place, measured),
            _inverted(file),
            tuple((each.number, float(ms)) for each, ms in zip(shifted.arrivals, shifted.delay_ms, strict=True)),
        )
        for s, file, measured, pair, shifted, (_, prominence) in zip(
            numbers, files, curves, pairs, moved, stands, strict=True
        )
    ]
    swapped = _swapped(pairs, alone, error_ms)
    return Match(
        tuple(matched), seat, correction, surface_levels(results, matched), swapped, STRONG_DB, STRONG_MS, results
    )


def _standing(curves: MeasuredCurves) -> tuple[np.ndarray, FloatArray]:
    floor = FAINTEST_DB if np.isnan(curves.noise_db) else max(FAINTEST_DB, curves.noise_db + ABOVE_NOISE_DB)
    return standing_out(curves.time_ms, curves.broadband_db, floor, LAST_MS)


def _predicted(results: Results, s: int, place: int) -> Predicted:
    built = results.built
    pair = (built.loudspeakers[s].name, built.listener_names[place])
    mine = [one for one in results.responses.arrivals if (one.loudspeaker, one.listener) == pair]
    return predicted_of(mine, built.air.speed_of_sound_m_s)


def _peaks(
    results: Results,
    way: tuple[int, int],
    pair: tuple[Heard, Predicted, Predicted],
    prominence_db: FloatArray,
    seat: SeatShift,
    error_ms: float,
) -> tuple[MeasuredPeak, ...]:
    """Peaks of one loudspeaker with their candidates: of reflections as drawn, and as the measurement moves them."""
    heard, predicted, shifted = pair
    built, speed = results.built, results.built.air.speed_of_sound_m_s
    source, ear = built.loudspeakers[way[0]].axis_point, built.ears[way[1]] + seat.shift_m
    direct_m = float(np.linalg.norm(ear - source))
    cost = costs(heard, shifted, np.zeros(3), error_ms)
    given = assign(cost)
    delay, moved = shifted.delay_ms, shifted.delay_ms - predicted.delay_ms
    curve, clock = results.responses.energy_time.broadband_db[way], results.responses.energy_time.time_ms
    drawn = [int(p) for p in local_peaks(curve, PEAK_RISE_DB)]
    free = [
        p for p in drawn if np.abs(clock[p] - predicted.delay_ms[given[given >= 0]]).min(initial=9.0) > SAME_TIME_MS
    ]
    found = []
    for k, (time, level) in enumerate(zip(heard.time_ms, heard.level_db, strict=True)):
        ranked = sorted(range(len(delay)), key=lambda c: (c != given[k], float(cost[k, c])))
        near = [c for c in ranked if c == given[k] or abs(time - delay[c]) <= 3.0 * error_ms][:MOST_CANDIDATES]
        listed = tuple(
            PeakCandidate(
                predicted.arrivals[c].number,
                predicted.arrivals[c].via,
                float(predicted.delay_ms[c]),
                float(predicted.level_db[c]),
                float(time - predicted.delay_ms[c]),
                float(time - predicted.delay_ms[c]) * speed / 1000.0,
                float(level - predicted.level_db[c]),
                float(time - delay[c]),
                float(cost[k, c]),
            )
            for c in near
        )
        named = bool(given[k] >= 0)
        length = direct_m + float(time) * speed / 1000.0
        at = float(time) - (float(moved[given[k]]) if named else 0.0)
        curve_db = float(curve[np.abs(clock - at) <= SAME_TIME_MS].max())
        together = not named and any(
            abs(clock[p] - time) <= 2.0 * error_ms and abs(curve[p] - level) <= TOGETHER_DB for p in free
        )
        spots = () if named or together else possible_spots(built.room, source, ear, length, 2e-3 * error_ms * speed)
        tied = sum(one.cost <= listed[0].cost + TIE for one in listed) if named else 0
        found.append(
            MeasuredPeak(
                float(time),
                float(level),
                float(prominence_db[k]),
                length,
                named,
                listed,
                tied,
                curve_db,
                together,
                spots,
            )
        )
    return tuple(found)


def _missing(
    curves: MeasuredCurves,
    pair: tuple[Heard, Predicted, Predicted],
    peaks: Sequence[MeasuredPeak],
    error_ms: float,
) -> tuple[MissingPeak, ...]:
    """Strong early reflections of the scene at whose time the measured curve stays low."""
    _, predicted, shifted = pair
    taken = {peak.candidates[0].number for peak in peaks if peak.named}
    found = []
    for one, drawn, delay, level in zip(
        predicted.arrivals,
        predicted.delay_ms,
        shifted.delay_ms,
        predicted.level_db,
        strict=True,
    ):
        if one.number in taken or level < STRONG_DB or delay > STRONG_MS:
            continue
        around = np.abs(curves.time_ms - delay) <= 2.0 * error_ms
        highest = float(curves.broadband_db[around].max())
        if highest < level - MISSING_DB:
            found.append(MissingPeak(one.number, one.via, float(drawn), float(level), highest))
    return tuple(sorted(found, key=lambda one: -one.level_db))


def _dips(results: Results, loudspeaker: str, place: int, curves: MeasuredCurves) -> tuple[MeasuredDip, ...]:
    found, hz = results.responses, results.responses.response.frequencies_hz
    listener = results.built.listener_names[place]
    drawn = [
        one for one in found.notches if (one.loudspeaker, one.listener, one.present) == (loudspeaker, listener, True)
    ]
    dips = []
    for number, depth in dips_of(hz, curves.spectrum, found.transition_hz):
        measured = float(hz[number])
        near = [one for one in drawn if abs(one.frequency_hz - measured) <= WIDEST_FRACTION * measured]
        best = min(near, key=lambda one: abs(one.frequency_hz - measured), default=None)
        dips.append(MeasuredDip(measured, depth, best.frequency_hz if best else np.nan, best.surface if best else ""))
    return tuple(sorted(dips, key=lambda one: -one.depth_db))


def _inverted(file: Recording) -> bool:
    samples = file.samples[0]
    direct = direct_sound(envelope(samples), file.rate_hz)
    reach = round(0.0003 * file.rate_hz)
    near = samples[max(0, direct - reach) : direct + reach + 1]
    return bool(near[np.argmax(np.abs(near))] < 0.0)


def _swapped(pairs: list[tuple[Heard, Predicted]], seat: SeatShift, error_ms: float) -> bool:
    """Whether two responses fit clearly better when they change places, each way with a seat of its own."""
    if len(pairs) != 2:
        return False
    (left, drawn_left), (right, drawn_right) = pairs
    other = [(left, drawn_right), (right, drawn_left)]
    straight = total_cost(pairs, seat.shift_m, error_ms)
    crossed = total_cost(other, find_seat(other, error_ms).shift_m, error_ms)
    return crossed < SWAPPED[0] * straight and straight - crossed > SWAPPED[1]
