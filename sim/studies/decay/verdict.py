"""The decay time against its tolerance, octave by octave, and what to mind in reading the figures.

Nominal: Tm = 0.25 s (V/100 m3)^(1/3), mean of 200 Hz to 4 kHz (ITU-R BS.1116-3; EBU Tech 3276 asks for 0.2 to 0.4 s
as well; from memory).  The tolerance is a record, so that another standard's can be given instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.acoustics.bands import Bands, transition_frequency_hz
from sim.acoustics.diffuse_field import mean_free_path_m
from sim.arrays import BoolArray, FloatArray
from sim.blueprint.units import volume_words
from sim.responses.records import Arrival
from sim.responses.transition import nominal_reverberation_s
from sim.showing.numbers import hertz, joined
from sim.studies.decay.records import SURE, DecayAim, DecayStudy, InitialGap, OctaveVerdict, RoomDecay, sure_above
from sim.studies.decay.room_metrics import FITS, HEADROOM_DB

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
            else InitialGap(*pair, first.main.delay_ms, first.worst_db, first.via)
        )
    return tuple(gaps)


# What to mind in reading decay figures: rooms that are no diffuse field, curves that are no straight lines.
#
# Limits of ISO 3382-2:2008, Annex B, are from memory: non-linearity up to 10 per mille, curvature up to 10 %.

MOST_NONLINEARITY_PERMILLE: Final = 10.0
MOST_CURVATURE_PERCENT: Final = 10.0
TWO_SLOPES: Final = 1.3
"""The last 10 dB this many times slower than the first is called a double slope (our choice)."""
FAR_OFF: Final = 0.15
"""Share by which rays and Eyring may differ without a word."""
OTHER_TRANSITION: Final = 0.2
"""Share by which the transition frequency judged from and that of the time found may differ without a word (ours)."""
TABLES_OFF: Final = 0.2
TABLES_SOURCE: Final = "laboratories differ by as much for one sample, and yours is another; common practice, no source"
FURNISHED_PART, THING_M3 = 0.05, 0.2
SMALL_M3: Final = 150.0
"""Rooms up to here are spoken of as small (our choice; ISO 3382-2 wants care below 200 m3 and 1000 Hz)."""


def cautions_of(study: DecayStudy) -> tuple[str, ...]:
    """All cautions of a study whose own `cautions` are still empty, in sentences."""
    return (
        *_tables(study),
        *_hidden(study),
        *_not_reached(study),
        *_too_short(study),
        *_small_room(study),
        *_formulas(study),
        *_curved(study),
        *_two_slopes(study),
        *_close_seat(study),
        *_judged_elsewhere(study),
    )


def _tables(study: DecayStudy) -> list[str]:
    """How far the times may be off because absorption is; Sabine's time goes with one over the coefficients."""
    sure = [
        answer_for(one.t20_s, 0.0, one.lower_s, one.upper_s)
        == answer_for(one.t20_s / (1.0 + TABLES_OFF), 0.0, one.lower_s, one.upper_s)
        == answer_for(one.t20_s / (1.0 - TABLES_OFF), 0.0, one.lower_s, one.upper_s)
        for one in study.verdicts
    ]
    sure_at = np.array(sure, dtype=bool) & study.judged
    percent = 100.0 * TABLES_OFF
    which = f"at {_octaves(study, sure_at)}" if sure_at.any() else "in no octave"
    return [
        f"After +- stands the error of counting rays alone. Absorption tables are off by far more, "
        f"{percent:.0f} % and above ({TABLES_SOURCE}): a time may then be "
        f"{percent / (1 + TABLES_OFF):.0f} % shorter or {percent / (1 - TABLES_OFF):.0f} % longer, and the "
        f"verdict stays the same {which}."
    ]


def furnished_s(study: DecayStudy) -> FloatArray:
    """T20 (octave,) were the room furnished as lived-in rooms are: things of 0.2 m3 that fill a twentieth of it.

    Each absorbs V^(2/3), V its volume: hard irregular objects (EN 12354-6:2003; from memory).  T goes with one over the
    absorption, air left out.
    """
    count = FURNISHED_PART * study.built.volume_m3 / THING_M3
    bare = study.diffuse.surface_m2 * study.diffuse.mean_absorption[-len(study.octaves) :]
    return np.asarray(study.room.t20_s * bare / (bare + count * THING_M3 ** (2.0 / 3.0)))


def _hidden(study: DecayStudy) -> list[str]:
    direct, _ = study.figure("direct_db")
    return [
        f"{name} at the {listener}: something hides the direct sound; times count from when it would arrive."
        for s, place, name, listener in study.pairs()
        if not np.isfinite(direct[s, place]).any()
    ]


def _not_reached(study: DecayStudy) -> list[str]:
    missing = ~study.met & study.judged
    if not missing.any():
        return []
    times, time_errors = study.figure("t20_s")
    _, clarity_errors = study.figure("c50_db")
    places = []
    for s, place, name, listener in study.pairs():
        at = missing[s, place]
        if at.any():
            percent = (100.0 * time_errors / times)[s, place, at]
            unknown = " or not known" if not np.isfinite(percent).all() else ""
            most = f"T20 {np.nanmax(percent):.1f} %{unknown}" if np.isfinite(percent).any() else "T20 not known"
            clarity = np.nan_to_num(clarity_errors[s, place, at]).max()
            places.append(f"{name} at the {listener}: {_octaves(study, at)} (at most {most}, C50 {clarity:.2f} dB)")
    return [
        f"{study.rays} rays did not bring the standard errors to {study.wanted_percent:g} % of T20 and "
        f"{study.wanted_db:g} dB of C50 everywhere. {'; '.join(places)}. Four times the rays (--rays) halve the error."
    ]


def _too_short(study: DecayStudy) -> list[str]:
    said = []
    for name in ("t20_s", "t30_s"):
        values, _ = study.figure(name)
        needed = HEADROOM_DB - FITS[name][1]
        short = study.judged & (study.range_db < needed)
        if (short & ~np.isfinite(values)).any():
            said.append(
                f"{name[:3].upper()} needs a decay of {needed:g} dB, which was not followed in "
                f"{_octaves(study, short.any(axis=(0, 1)))}: it is left out there."
            )
    return said


def _small_room(study: DecayStudy) -> list[str]:
    if study.built.volume_m3 > SMALL_M3:
        return []
    path = mean_free_path_m(study.built.volume_m3, study.diffuse.surface_m2)
    middle = _middle(study, study.room.t20_s)
    hits = study.built.air.speed_of_sound_m_s * middle / path
    count = f" Sound meets a surface about {hits:.0f} times while it falls by 60 dB." if np.isfinite(hits) else ""
    return [
        f"A small room ({volume_words(study.built.volume_m3, study.scene.blueprint.units)}): the decay time is no "
        f"quantity of a diffuse field here. It is "
        f"that of these monitors at these places; elsewhere in the room it may differ.{count}"
    ]


def _judged_elsewhere(study: DecayStudy) -> list[str]:
    """Where the decay time found here would put the lowest frequency that is judged, if that is far off."""
    middle = _middle(study, study.room.t20_s)
    found_hz = transition_frequency_hz(middle, study.built.volume_m3) if np.isfinite(middle) else np.nan
    if not (np.isfinite(found_hz) and abs(found_hz / study.transition_hz - 1.0) > OTHER_TRANSITION):
        return []
    reported = study.scene.blueprint.room.reverberation_time_s
    taken = (
        f"the scene says {reported:g} s" if reported else "the scene tells no decay time and the nominal one is taken"
    )
    return [
        f"This and all other commands judge from {study.transition_hz:.0f} Hz up, as {taken}. If the room is as bare "
        f"as the scene says, put reverberation_time_s = {middle:.2g} under [room]: all will judge from "
        f"{found_hz:.0f} Hz up."
    ]


def _formulas(study: DecayStudy) -> list[str]:
    eyring = study.diffuse.eyring_s[-len(study.octaves) :]
    ratio = study.room.t20_s / eyring
    off = study.judged & (np.abs(ratio - 1.0) > FAR_OFF)
    if not off.any():
        return []
    worst = int(np.argmax(np.where(off, np.abs(np.log(ratio)), 0.0)))
    uneven = study.diffuse.unevenness[-len(study.octaves) :][worst]
    mean = study.diffuse.mean_absorption[-len(study.octaves) :][worst]
    why = (
        "bare walls that face each other keep sound between them, away from what absorbs"
        if ratio[worst] > 1.0
        else "sound meets what absorbs more often than its area says"
    )
    return [
        f"Rays and Eyring's formula differ most at {hertz(study.octaves.nominal_hz[worst])}: "
        f"{study.room.t20_s[worst]:.2f} s against {eyring[worst]:.2f} s. The formula spreads absorption evenly; here "
        f"coefficients are {mean:.2f} in the mean and scatter by {uneven:.2f} from surface to surface: {why}. How much "
        "depends on scattering coefficients, which are estimates."
    ]


def _curved(study: DecayStudy) -> list[str]:
    said = []
    for name, limit, words in (
        ("nonlinearity20_permille", MOST_NONLINEARITY_PERMILLE, "T20 (non-linearity above 10 per mille"),
        ("curvature_percent", MOST_CURVATURE_PERCENT, "T30 against T20 (curvature above 10 %"),
    ):
        curved = (sure_above(*study.figure(name), limit) & study.judged).any(axis=(0, 1))
        if curved.any():
            said.append(
                f"The decay is not exponential: {words}, ISO 3382-2 Annex B) at {_octaves(study, curved)}; one time "
                "does not tell all of it, look at the curves."
            )
    return said


def _two_slopes(study: DecayStudy) -> list[str]:
    first, first_error = study.figure("first_s")
    last, last_error = study.figure("last_s")
    uncertainty = np.hypot(TWO_SLOPES * first_error, last_error)
    double = sure_above(last - TWO_SLOPES * first, uncertainty, 0.0) & study.judged
    if not double.any():
        return []
    with np.errstate(invalid="ignore"):
        s, place, o = np.unravel_index(int(np.argmax(np.where(double, last / first, 0.0))), double.shape)
    return [
        f"Double slope at {_octaves(study, double.any(axis=(0, 1)))}: the tail is slower than the beginning, most at "
        f"{hertz(study.octaves.nominal_hz[o])} for {study.pairs()[s * double.shape[1] + place][2]} at the "
        f"{study.built.listener_names[place]}, {first[s, place, o]:.2f} s from -5 to -15 dB and "
        f"{last[s, place, o]:.2f} s from -25 to -35 dB. In a single room that is mostly an echo between bare "
        "parallel walls."
    ]


def _close_seat(study: DecayStudy) -> list[str]:
    said = []
    middle = _middle(study, study.room.t20_s)
    speed = study.built.air.speed_of_sound_m_s
    least = 2.0 * np.sqrt(study.built.volume_m3 / (speed * middle)) if np.isfinite(middle) else 0.0
    for _, place, name, listener in study.pairs():
        one = next(each for each in study.built.loudspeakers if each.name == name)
        away = float(np.linalg.norm(one.axis_point - study.built.ears[place]))
        if away < least:
            said.append(
                f"{name} at the {listener}: {away:.2f} m away, where ISO 3382 asks for {least:.2f} m at least, so that "
                "direct sound does not rule the figures; EDT and clarity are mostly those of the direct sound."
            )
    alone = (~np.isfinite(study.figure("edt_s")[0]) & (study.figure("direct_db")[0] > 9.0)).any(axis=(0, 1))
    if alone.any():
        said.append(f"No EDT at {_octaves(study, alone)}: direct sound stands 10 dB above all that comes after it.")
    return said


def _middle(study: DecayStudy, times: FloatArray) -> float:
    """Mean of the octaves 500 Hz and 1 kHz."""
    return float(times[(study.octaves.nominal_hz >= 500.0) & (study.octaves.nominal_hz <= 1000.0)].mean())


def _octaves(study: DecayStudy, chosen: BoolArray | np.bool) -> str:
    return joined([hertz(hz) for hz in study.octaves.nominal_hz[np.asarray(chosen)]])
