"""A peak or a dip somebody measured: which reflections of the scene come nearest to it, and by how much they miss.

A peak is looked for by its time after the direct sound.  A dip is looked for among the dips of the response at the ear,
and among the frequencies at which one reflection alone cancels most.  Nothing is fitted: a reading that no reflection
explains gets none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from sim.answers import Answer, printable
from sim.blueprint.reader import AnyScene
from sim.blueprint.units import small_words
from sim.errors import SceneError
from sim.machine.processes import typed
from sim.placement.built_scene import BuiltScene
from sim.progress import Report, say_nothing
from sim.responses.readings import FAINTEST_DB, READING_FRACTION, WIDEST_FRACTION, allowed_ms
from sim.responses.records import Arrival, Results
from sim.showing.archive.kept_traces import results_of
from sim.showing.numbers import db_words
from sim.studies.explain.explanation import refuse_unknown_names

LATEST_MS: Final = 100.0
FREQUENCIES_HZ: Final = (20.0, 8000.0)
"""Above, dips are narrower than a curve of a twelfth of an octave shows."""
LEAST_DEPTH_DB: Final = 1.0
"""A reflection that can make no deeper dip by itself is not named."""
MOST: Final = 6
"""Candidates that are printed."""


@printable
@dataclass(frozen=True, slots=True)
class ReadingCandidate:
    """One thing in the scene that could make a measured peak or dip.

    Attributes
    ----------
    loudspeaker, listener
        Whose sound, and where.
    number
        The arrival as in arrivals.csv; 0 for a dip of the response that no single surface makes.
    what
        "reflection", or "dip" of the whole response at the ear.
    cause
        The surfaces in words.
    value
        Its time in ms after the direct sound, or its frequency in Hz.
    misfit
        `value` less what was measured, in ms or Hz.
    allowed
        How large the misfit may be, in the same unit: reading and placement together.
    strength_db
        Against a peak: the reflection's level in its worst octave, dB re direct.  Against a dip: how deep the dip of
        the response is, or the deepest that the reflection alone can make.
    """

    loudspeaker: str
    listener: str
    number: int
    what: str
    cause: str
    value: float
    misfit: float
    allowed: float
    strength_db: float

    @property
    def fits(self) -> bool:
        """Whether reading and placement explain the misfit."""
        return abs(self.misfit) <= self.allowed


@dataclass(frozen=True, slots=True, repr=False)
class Candidates(Answer):
    """What a measured peak or dip could be.

    Attributes
    ----------
    ms, hz
        What was measured: the time after the direct sound, or the frequency; the other is None.
    found
        What fits, the best first: the loudest reflection, or the dip of the response and then the strongest reflection.
    nearest
        What does not fit but comes nearest, up to three, the least misfit first.
    results
        The traced scene.
    """

    question: ClassVar[str] = "explain"

    ms: float | None
    hz: float | None
    found: tuple[ReadingCandidate, ...]
    nearest: tuple[ReadingCandidate, ...]
    results: Results

    def headline(self) -> str:
        """The first that fits, or that none does."""
        what = f"peak at {self.ms:g} ms" if self.ms is not None else f"dip at {self.hz:g} Hz"
        if not self.found:
            return f"{what}: nothing in this scene fits"
        return f"{what}: {_name(self.found[0])}, {_misfit(self.found[0], self)}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each candidate, those that fit first; time and misfit in ms, or frequency and misfit in Hz."""
        unit = "ms" if self.ms is not None else "hz"
        return [
            {
                "fits": one.fits,
                "loudspeaker": one.loudspeaker,
                "listener": one.listener,
                "number": one.number,
                "what": one.what,
                "cause": one.cause,
                f"value_{unit}": one.value,
                f"misfit_{unit}": one.misfit,
                f"allowed_{unit}": one.allowed,
                "strength_db": one.strength_db,
            }
            for one in (*self.found, *self.nearest)
        ]


def candidates(
    scene: AnyScene | Results,
    *,
    ms: float | None = None,
    hz: float | None = None,
    report: Report = say_nothing,
    loudspeaker: str | None = None,
    listener: str | None = None,
    order: int | None = None,
) -> Candidates:
    """What a measured peak or dip could be: the nearest reflections of the scene, each with its misfit.

    Parameters
    ----------
    scene
        The scene, or what `trace` returned of it.
    ms, hz
        Exactly one: the time of a peak in ms after the direct sound, or the frequency of a dip.
    report
        Called with a few words at the start of each stage.
    loudspeaker
        Whose sound was measured; left out, every one is looked at.
    listener
        Where; left out, the ear.
    order
        Most surfaces a path may touch, where the scene is still to be traced.

    Raises
    ------
    SceneError
        If not exactly one of both is given or it cannot be, or there is no such loudspeaker or listener.
    """
    if (ms is None) == (hz is None):
        raise SceneError("ms and hz", "give one of them", "ms for a peak in time, hz for a dip over frequency")
    refuse_reading(ms, hz)

    def refuse(built: BuiltScene) -> None:
        refuse_unknown_names(built, loudspeaker, listener, 0)

    results = results_of(scene, report, order=order, refuse=refuse)
    place = listener or results.built.listener_names[0]
    mine = [
        arrival
        for arrival in results.responses.arrivals
        if arrival.listener == place and arrival.loudspeaker in (loudspeaker or arrival.loudspeaker,) and arrival.order
    ]
    every = _peaks(results, mine, ms) if ms is not None else _dips(results, mine, hz or 0.0)
    found = sorted((one for one in every if one.fits), key=_likely)
    nearest = sorted((one for one in every if not one.fits), key=lambda one: abs(one.misfit))[:3]
    return Candidates(ms, hz, tuple(found), tuple(nearest), results)


def refuse_reading(ms: float | None, hz: float | None) -> None:
    """Raise SceneError for a time or a frequency that cannot be; nothing needs to be traced for it."""
    if ms is not None and not 0.0 < ms <= LATEST_MS:
        raise SceneError("ms", f"it is {ms:g}", f"give the time after the direct sound, above 0 to {LATEST_MS:g} ms")
    low, high = FREQUENCIES_HZ
    if hz is not None and not low <= hz <= high:
        raise SceneError("hz", f"it is {hz:g}", f"give the frequency of a dip, {low:g} to {high:g} Hz")


def _likely(one: ReadingCandidate) -> tuple[bool, float]:
    """Dips of the response first, the nearest before the others; then reflections, the strongest first."""
    return one.what != "dip", abs(one.misfit) if one.what == "dip" else -one.strength_db


def _peaks(results: Results, arrivals: list[Arrival], ms: float) -> list[ReadingCandidate]:
    """Every reflection that is loud enough, at the time of the driver that matters most."""
    allowed = allowed_ms(results.scene.blueprint.method.placement_error, results.built.air.speed_of_sound_m_s)
    return [
        ReadingCandidate(
            one.loudspeaker,
            one.listener,
            one.number,
            "reflection",
            one.via,
            one.main.delay_ms,
            one.main.delay_ms - ms,
            allowed,
            one.worst_db,
        )
        for one in arrivals
        if one.worst_db >= FAINTEST_DB
    ]


def _dips(results: Results, arrivals: list[Arrival], hz: float) -> list[ReadingCandidate]:
    """Dips of the whole response, and of each reflection the cancellation that comes nearest."""
    if hz < results.responses.transition_hz:
        return []
    error_m = 2.0 * results.scene.blueprint.method.placement_error
    pairs = {(one.loudspeaker, one.listener) for one in arrivals}
    found = []
    for notch in results.responses.notches:
        if (notch.loudspeaker, notch.listener) in pairs and notch.present:
            single = notch.surface and notch.rise_db >= 0.5 * notch.depth_db
            part = f"; without the {notch.surface} {notch.rise_db:.0f} dB more" if notch.surface else ""
            cause = f"{notch.surface}{part}" if single else f"no single cause{part}"
            off = notch.frequency_hz - hz
            allowed = WIDEST_FRACTION * hz
            found.append(
                ReadingCandidate(
                    notch.loudspeaker,
                    notch.listener,
                    0,
                    "dip",
                    cause,
                    notch.frequency_hz,
                    off,
                    allowed,
                    notch.depth_db,
                )
            )
    for one in arrivals:
        cancels = [value for value in one.notches_hz if math.isfinite(value)]
        depth = _alone_db(results, one, hz)
        if not cancels or depth < LEAST_DEPTH_DB:
            continue
        value = min(cancels, key=lambda each: abs(each - hz))
        allowed = hz * min(READING_FRACTION + error_m / max(one.main.extra_path_m, 1e-6), WIDEST_FRACTION)
        found.append(
            ReadingCandidate(
                one.loudspeaker, one.listener, one.number, "reflection", one.via, value, value - hz, allowed, depth
            )
        )
    return found


def _alone_db(results: Results, arrival: Arrival, hz: float) -> float:
    """The deepest dip that a reflection can make by itself near a frequency, in dB under the direct sound alone."""
    octave = int(np.argmin(np.abs(np.log2(results.responses.bands.nominal_hz / hz))))
    amplitude = min(10.0 ** (float(arrival.level_db[octave]) / 20.0), 0.999)
    return -20.0 * math.log10(1.0 - amplitude)


# In words.


def candidate_lines(answer: Candidates) -> list[str]:
    """What could have made a measured peak or dip; the answer first."""
    return list(_lines(answer))


def _lines(answer: Candidates) -> Iterator[str]:
    yield answer.results.scene.blueprint.title
    yield ""
    measured = f"peak {answer.ms:g} ms after the direct sound" if answer.ms is not None else f"dip at {answer.hz:g} Hz"
    lowest = answer.results.responses.transition_hz
    if answer.hz is not None and answer.hz < lowest:
        yield f"A {measured}: nothing below {lowest:.0f} Hz is judged in this room, where resonances of the room rule."
        return
    likely = f"{_name(answer.found[0])}, {_misfit(answer.found[0], answer)}." if answer.found else ""
    if not likely:
        yield f"A {measured}: nothing in this scene fits. What makes it is not in the scene, or a length is off."
    elif len(answer.found) == 1:
        yield f"A {measured} fits one thing: {likely}"
    else:
        yield f"A {measured} fits {len(answer.found)} things, which it cannot tell apart; most likely {likely}"
    for heading, some in (("Fits", answer.found), ("Nearest that do not fit", answer.nearest)):
        if some:
            yield ""
            yield heading
            for one in some[:MOST]:
                yield f"  {_name(one)}: {_misfit(one, answer)}; {_strength(one, answer)}"
            if len(some) > MOST:
                yield f"  and {len(some) - MOST} weaker"
    first = next((one for one in answer.found if one.number), None)
    if first is not None:
        yield ""
        yield f"More on it: --peak {first.number} --loudspeaker {typed(first.loudspeaker)}."
        yield "To be sure, cover the spot with something thick and measure again."


def _name(one: ReadingCandidate) -> str:
    if one.what == "dip":
        return f"the dip of {one.loudspeaker} at {one.value:.0f} Hz ({one.cause})"
    return f"{one.loudspeaker} number {one.number}, {one.cause}"


def _misfit(one: ReadingCandidate, answer: Candidates) -> str:
    """The value of the scene, and how far it is off."""
    if answer.hz is not None:
        there = "" if one.what == "dip" else f"cancels at {one.value:.0f} Hz, "
        return f"{there}{abs(one.misfit):.0f} Hz off (up to {one.allowed:.0f} Hz is no contradiction)"
    speed = answer.results.built.air.speed_of_sound_m_s
    path = small_words(abs(one.misfit) * speed / 1000.0, answer.results.scene.blueprint.units)
    return f"{one.value:.2f} ms, {abs(one.misfit):.2f} ms off ({path} of path)"


def _strength(one: ReadingCandidate, answer: Candidates) -> str:
    if answer.ms is not None:
        return f"{db_words(one.strength_db)} at its worst octave"
    return f"{one.strength_db:.0f} dB deep" if one.what == "dip" else f"alone up to {one.strength_db:.0f} dB deep"
