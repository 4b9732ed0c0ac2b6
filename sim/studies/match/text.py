"""What a measurement says of a scene, in words: the verdict first, then what to do, then peak by peak."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from sim.blueprint.units import small_words
from sim.responses.readings import WIDEST_FRACTION
from sim.showing.numbers import db_words, format_length, halves, joined, tenths
from sim.studies.match.correction_text import correction_lines, error_words, level_lines, value_words
from sim.studies.match.naming import LEVEL_DB, seat_is_told
from sim.studies.match.records import Match, MatchedResponse, MeasuredPeak, SeatShift

AS_PREDICTED_DB: Final = 3.0
"""A level this near is as predicted (common practice, no source)."""
CHECK_TAPE_M: Final = 0.03
"""What a reflection's way is longer or shorter, the seat apart, before a tape is worth taking out."""
TOLD_M: Final = 0.01
MOST_SURFACES: Final = 4
MOST_ROWS: Final = 24
WAYS: Final = (
    ("nearer to the front wall", "further from the front wall"),
    ("to the left", "to the right"),
    ("lower", "higher"),
)


def match_lines(found: Match) -> list[str]:
    """What the command says."""
    return list(_lines(found))


def _lines(found: Match) -> Iterator[str]:
    yield found.results.scene.blueprint.title
    yield ""
    for one in found.responses:
        yield _verdict(found, one)
    yield ""
    todo = list(_todo(found))
    yield "What to do"
    yield from (f"  {line}" for line in todo or ["Nothing: the room measures as it was calculated."])
    for one in found.responses:
        yield ""
        yield from _table(found, one)
        if one.dips:
            yield ""
            yield from _dips(one)
    yield ""
    yield from correction_lines(found.correction, found.results.scene.blueprint.units)
    yield ""
    yield from level_lines(found.levels)
    yield ""
    yield (
        "A name is what fits best in time and level, no proof: cover the spot with something thick and measure again."
        f" Nothing below {found.results.responses.transition_hz:.0f} Hz is judged."
    )


def _verdict(found: Match, one: MatchedResponse) -> str:
    strong = found.strong(one)
    named = found.explained(one)
    early = f"above {found.strong_db:g} dB within {found.strong_ms:g} ms"
    if not strong:
        return f"{one.loudspeaker}: no peak {early} was measured."
    what = f"{named} of {len(strong)} peaks {early} are reflections of the scene"
    missing = f"; {len(one.missing)} predicted {'one is' if len(one.missing) == 1 else 'ones are'} missing"
    return f"{one.loudspeaker}: {what}{missing if one.missing else ''}."


def _todo(found: Match) -> Iterator[str]:
    if found.swapped:
        names = [one.loudspeaker for one in found.responses]
        yield f"{joined(names)} look swapped: the files fit better the other way round. Check the cables."
    upside = [one.loudspeaker for one in found.responses if one.inverted]
    if len(upside) == 1 and len(found.responses) > 1:
        yield f"{upside[0]}: the direct sound begins negative, the other's does not. Check for a crossed cable."
    yield from _unknown(found)
    for one in found.responses:
        for gone in one.missing:
            yield (
                f"{one.loudspeaker}, {gone.via}: predicted at {gone.delay_ms:.2f} ms with {db_words(gone.level_db)},"
                f" measured {db_words(gone.highest_db)} at most. Something takes or hides it that is not drawn."
            )
    yield from _seat(found)
    yield from _moved(found)
    yield from _tapes(found)
    yield from _levels(found)


def _unknown(found: Match) -> Iterator[str]:
    unit = found.results.scene.blueprint.units
    for one in found.responses:
        for peak in found.strong(one):
            if peak.named or peak.together:
                continue
            surfaces = list(dict.fromkeys(spot.surface for spot in peak.spots))[:MOST_SURFACES]
            where = f" Flat against a surface it would be on: {', '.join(surfaces)}." if surfaces else ""
            yield (
                f"{one.loudspeaker}, {peak.time_ms:.2f} ms, {db_words(peak.level_db)}: nothing that is drawn. A string"
                f" of {format_length(peak.length_m, unit)} from the monitor to the microphone, kept taut, touches what"
                f" makes it.{where}"
            )


def _seat(found: Match) -> Iterator[str]:
    words = seat_words(found.seat, found.results.scene.blueprint.units)
    if words and any(one.kind == "seat" for one in found.correction.moved):
        yield (
            f"The microphone was {words} than the ear of the scene, as {found.seat.peaks} peaks have it. Put it where"
            " the ear is, or move the ear."
        )


def _moved(found: Match) -> Iterator[str]:
    """Numbers of the scene, the seat apart, that the delays put elsewhere."""
    unit = found.results.scene.blueprint.units
    for one in found.correction.moved:
        if one.kind == "seat":
            continue
        tool = "thermometer" if one.kind == "temperature" else "tape"
        yield (
            f"{one.name}: {value_words(one, one.given, unit)} in the scene, {value_words(one, one.fitted, unit)}"
            f" ({error_words(one, unit)}) by the delays. Check it with the {tool}."
        )
    if any(one.path for one in found.correction.moved):
        yield (
            "--write-corrected NEW.toml writes a scene with these changes: delays are then"
            f" {found.correction.written_ms:.2f} ms off (rms), now {found.correction.before_ms:.2f} ms."
        )


def seat_words(seat: SeatShift, unit: str) -> str:
    """Where the microphone was against the ear; empty where that is within a centimetre, or not known."""
    if not seat_is_told(seat):
        return ""
    parts = []
    for (less, more), shift, error in zip(WAYS, seat.shift_m, seat.error_m, strict=True):
        if math.isfinite(error) and abs(shift) > max(TOLD_M, error):
            small = f"{small_words(abs(float(shift)), unit)} {more if shift > 0.0 else less}"
            parts.append(f"{small} (± {small_words(max(float(error), 0.005), unit)})")
    return joined(parts)


def _tapes(found: Match) -> Iterator[str]:
    """Single reflections whose way is longer or shorter than drawn, the seat apart."""
    speed, unit = found.results.built.air.speed_of_sound_m_s, found.results.scene.blueprint.units
    for one in found.responses:
        for peak in found.strong(one):
            best = peak.candidates[0] if peak.named else None
            if best is None or " > " in best.via or "edge" in best.via or peak.tied > 1:
                continue
            if abs(best.misfit_db) > LEVEL_DB:  # what shapes the peak is more than this reflection
                continue
            off = best.left_ms * speed / 1000.0
            if abs(off) >= CHECK_TAPE_M:
                longer = "longer" if off > 0.0 else "shorter"
                yield (
                    f"{one.loudspeaker}, {best.via}: the path is {small_words(abs(off), unit)} {longer} than drawn;"
                    f" check the tape to the {best.via} and to the monitor."
                )


def _levels(found: Match) -> Iterator[str]:
    """Single reflections that are louder or weaker than predicted, and panels that do what was promised."""
    for one in found.responses:
        arrivals = {a.number: a for a in found.results.responses.arrivals if a.loudspeaker == one.loudspeaker}
        for peak in found.strong(one):
            best = peak.candidates[0] if peak.named else None
            if best is None or peak.tied > 1:
                continue
            panels = [name for name in arrivals[best.number].panels if name] if best.number in arrivals else []
            off = peak.level_db - peak.curve_db
            if abs(off) <= AS_PREDICTED_DB:
                if panels:
                    yield f"{one.loudspeaker}, {best.via}: {joined(panels)} works as predicted ({halves(off)} dB off)."
                continue
            loud = "louder" if off > 0.0 else "weaker"
            remedy = (
                f"check where {joined(panels)} hangs and what it is made of"
                if panels
                else "its material is not as given, or a neighbour adds to it"
            )
            yield f"{one.loudspeaker}, {best.via}: {halves(abs(off))} dB {loud} than predicted; {remedy}."


def _table(found: Match, one: MatchedResponse) -> Iterator[str]:
    yield f"{one.loudspeaker} ({one.file}) at the {one.listener}: peaks as measured"
    yield "      ms     dB   what it is, and how far off"
    loud = sorted(one.peaks, key=lambda peak: -peak.level_db)[:MOST_ROWS]
    for peak in sorted(loud, key=lambda each: each.time_ms):
        yield f"  {peak.time_ms:6.2f}  {tenths(peak.level_db):>5}   {_what(found, peak)}"
    if len(one.peaks) > len(loud):
        yield f"  and {len(one.peaks) - len(loud)} weaker"


def _what(found: Match, peak: MeasuredPeak) -> str:
    unit = found.results.scene.blueprint.units
    if not peak.named:
        near = peak.candidates[0] if peak.candidates else None
        nearest = (
            f"; nearest {near.via}, {signed(near.misfit_ms, 2)} ms and {signed(near.misfit_db, 0)} dB off"
            if near is not None
            else ""
        )
        return "several things together, as calculated" if peak.together else f"none of what is drawn{nearest}"
    best = peak.candidates[0]
    others = [one.via for one in peak.candidates[1 : peak.tied]]
    also = f"; could also be {' or '.join(others)}" if others else ""
    path = small_words(abs(best.misfit_m), unit)
    off = f"{signed(best.misfit_ms, 2)} ms, {path}, {signed(best.misfit_db, 0)} dB"
    return f"{best.via} (number {best.number}): {off}{also}"


def signed(value: float, decimals: int) -> str:
    """A difference with its sign, and none where it rounds to nothing."""
    text = f"{value:+.{decimals}f}"
    return text if float(text) else text[1:]


def _dips(one: MatchedResponse) -> Iterator[str]:
    yield f"{one.loudspeaker}: dips of the response, a twelfth of an octave wide"
    for dip in one.dips[:8]:
        if np.isnan(dip.predicted_hz):
            share = round(100.0 * WIDEST_FRACTION)
            what = f"no dip was predicted within {share} % of it"
        else:
            what = f"predicted at {dip.predicted_hz:.0f} Hz, {dip.surface or 'no single cause'}"
        yield f"  {dip.frequency_hz:6.0f} Hz  {dip.depth_db:4.0f} dB deep: {what}"
