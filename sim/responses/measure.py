"""One measure of better: what a layout is judged by, in every question the same components under the same names.

    early       decibels of early reflections above the target, all added up, mean of the octaves (see `weighting`)
    crossover   direct sound lost off axis in the octave round the highest crossover, dB
    slope       tilt of the direct sound at the ear against that on axis, dB per octave
    dips        wide dips of the early response, dB rms, those below 1 kHz counting fully
    left_right  difference of left and right at the ear, dB rms of third-octaves

Each is a mean over the loudspeakers, never negative, and 0 would be ideal.  The measure in dB is their sum, each times
its weight in `[target]` of the scene.  What cannot be or hurts is no number: it comes first, in words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.acoustics.bands import Bands
from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, frozen
from sim.blueprint.treatment import Target, Weights
from sim.placement.built_scene import BuiltScene
from sim.placement.limits import Path, limits_of
from sim.responses.arrivals import in_target_band, in_window
from sim.responses.energy_time import local_peaks
from sim.responses.frequency import smoothed_db
from sim.responses.records import Arrival, Results
from sim.responses.tone import tones_of

COMPONENTS: Final[Mapping[str, tuple[str, str]]] = {
    "early": ("early reflections above the target", "dB"),
    "crossover": ("direct sound lost off axis at the crossover", "dB"),
    "slope": ("tilt of the direct sound off axis", "dB per octave"),
    "dips": ("wide dips", "dB"),
    "left_right": ("left against right", "dB"),
}
"""Names of the components: what people read, and the unit."""
SAME_DB: Final = 1.0
"""Differences of the measure, or of a component, below this are "the same".  Levels of single edges are right within
0.1 to 0.4 dB rms where the ear sees the source and 2 to 4 dB in shadow (docs/explanation/edges.md), those of generic
loudspeakers within 0.4 to 2.5 dB; most of that is common to both layouts, and 1 dB is left (our estimate)."""
SAME_OCTAVES: Final = 1.0 / 3.0
"""A dip that moves by less is the same dip: the width of the bands that dips are judged in."""
DIP_HIGHEST_HZ: Final = 8000.0
DIP_FULL_HZ: Final = 1000.0
"""Dips count fully up to here and less above, as 1/f: the lower, the more of voices and instruments lies in them
(common practice, no source)."""
DIP_NARROW, DIP_WIDE = 3.0, 0.5
"""A wide dip is one of the third-octave mean under the two-octave mean."""
DIP_LEAST_DB: Final = 3.0
SPATIAL_HZ: Final = 2000.0
"""Energy of a reflection above about 2 kHz decides what it does to space (S. Bech, Spatial aspects of reproduced sound
in small rooms, JASA 103 (1998) 434-445; from memory)."""


@printable
@dataclass(frozen=True, slots=True)
class Measure:
    """What a layout is judged by at its first seat.

    Attributes
    ----------
    loudspeakers
        Their names: the first axis of the arrays.
    octaves_hz
        (octave,) nominal middles of the target's octaves.
    early_over_target_db
        (loudspeaker, octave) decibels above the target of every reflection inside the window, added up: 0 exactly where
        the target is met.
    crossover_loss_db
        (loudspeaker,) direct sound at the ear below that on axis, in the octave round the highest crossover.
    slope_db_per_octave
        (loudspeaker,) tilt of the direct sound at the ear against that on axis, negative: the treble is lost.
    dips_db
        (loudspeaker,) root mean square of wide dips, the lower ones counting more.
    dip_hz, dip_db
        (loudspeaker,) the wide dip that counts most, and its depth; nan without any of 3 dB.
    desk_dip_hz
        (loudspeaker,) first notch of the reflection off a desk's top, nan where the desk sends none.
    components
        Each component by its name.
    weights
        What each is multiplied by.
    total_db
        The measure: the weighted sum, less is better.
    hindrances
        What cannot be or hurts, in sentences; none is worth any number of decibels.
    """

    loudspeakers: tuple[str, ...]
    octaves_hz: FloatArray
    early_over_target_db: FloatArray
    crossover_loss_db: FloatArray
    slope_db_per_octave: FloatArray
    dips_db: FloatArray
    dip_hz: FloatArray
    dip_db: FloatArray
    desk_dip_hz: FloatArray
    components: Mapping[str, float]
    weights: Mapping[str, float]
    total_db: float
    hindrances: tuple[str, ...]


def measure_of(results: Results, moved: Sequence[Path] = ()) -> Measure:
    """Judge a traced scene at its first seat.

    `moved` are places in the scene of numbers that were changed: limits of the triangle and of the desk's reach are
    only looked at where one of them changes these.
    """
    built, found, target = results.built, results.responses, results.scene.blueprint.target
    names = tuple(one.name for one in built.loudspeakers)
    judged = in_target_band(found.bands, target)
    ear = built.listener_names[0]
    mine = [[a for a in found.arrivals if (a.loudspeaker, a.listener) == (n, ear) and a.order > 0] for n in names]
    early = np.array([_early_over_target_db(one, found.bands, target)[judged] for one in mine])
    octaves = found.bands.nominal_hz[judged]
    hz, total = found.response.frequencies_hz, found.response.total[:, 0]
    tone = tones_of(built)
    dips = [_dips(hz, total[s], found.transition_hz) for s in range(len(names))]
    desks = {item.name for item in results.scene.blueprint.furniture if item.worked_at}
    crossover, slope = np.array([one[0] for one in tone]), np.array([one[1] for one in tone])
    components = {
        "early": float((early @ octave_weights(octaves, target)).mean()),
        "crossover": float(crossover.mean()),
        "slope": float(np.abs(slope).mean()),
        "dips": float(np.mean([one[0] for one in dips])),
        "left_right": _left_right_db(built, results),
    }
    weights = _weights(target.weights)
    limits = limits_of(results.scene.blueprint, built, moved)
    return Measure(
        loudspeakers=names,
        octaves_hz=frozen(octaves),
        early_over_target_db=frozen(early),
        crossover_loss_db=frozen(crossover),
        slope_db_per_octave=frozen(slope),
        dips_db=frozen(np.array([one[0] for one in dips])),
        dip_hz=frozen(np.array([one[1] for one in dips])),
        dip_db=frozen(np.array([one[2] for one in dips])),
        desk_dip_hz=frozen(np.array([_desk_dip_hz(one, desks) for one in mine])),
        components=components,
        weights=weights,
        total_db=float(sum(weights[name] * value for name, value in components.items())),
        hindrances=(*built.warnings, *(limit.words for limit in limits if limit.broken)),
    )


def _weights(weights: Weights) -> dict[str, float]:
    return {name: float(getattr(weights, name)) for name in COMPONENTS}


def _early_over_target_db(arrivals: Sequence[Arrival], bands: Bands, target: Target) -> FloatArray:
    """Decibels (band,) above the target of all that arrives inside the window, added up.

    Not the energy of all: that is the strongest one's, and a panel on the second would buy nothing.
    """
    over = [np.maximum(one.level_db - target.level_db, 0.0) for one in arrivals if in_window(one, target)]
    return np.asarray(np.sum(over, axis=0) if over else np.zeros(len(bands)))


def octave_weights(octaves_hz: FloatArray, target: Target) -> FloatArray:
    """Weights (octave,) that sum to 1: all alike, or with "spatial" only those from 2 kHz up where there are any."""
    counted = octaves_hz >= SPATIAL_HZ
    if target.weighting != "spatial" or not counted.any():
        counted = np.ones(len(octaves_hz), dtype=bool)
    return np.asarray(counted / counted.sum())


def _dips(hz: FloatArray, total: ComplexArray, lowest_hz: float) -> tuple[float, float, float]:
    """Weighted rms of wide dips of a response (f,), and frequency and depth of the one that counts most."""
    under = np.maximum(smoothed_db(hz, total, DIP_WIDE) - smoothed_db(hz, total, DIP_NARROW), 0.0)
    judged = np.flatnonzero((hz >= lowest_hz) & (hz <= DIP_HIGHEST_HZ))
    counts = np.minimum(DIP_FULL_HZ / hz[judged], 1.0)
    each = counts / hz[judged]  # frequencies lie evenly: 1/f makes every octave count alike
    rms = float(np.sqrt((each * under[judged] ** 2).sum() / each.sum()))
    places = [k for k in local_peaks(under[judged], DIP_LEAST_DB) if under[judged][k] >= DIP_LEAST_DB]
    if not places:
        return rms, float("nan"), float("nan")
    most = max(places, key=lambda k: float(under[judged][k] * counts[k]))
    return rms, float(hz[judged][most]), float(under[judged][most])


def _desk_dip_hz(arrivals: Sequence[Arrival], desks: set[str]) -> float:
    """First notch of the loudest first reflection off the top of a desk or console."""
    tops = [
        one
        for one in arrivals
        if one.order == 1 and not one.diffracted and one.owners[0] in desks and one.surfaces[0].endswith(" top")
    ]
    loudest = max(tops, key=lambda one: one.worst_db, default=None)
    return float("nan") if loudest is None else float(loudest.notches_hz[0])


def _left_right_db(built: BuiltScene, results: Results) -> float:
    """Root mean square over judged third-octaves of what the first left and the first right differ by at the ear."""
    sides = {one.side: s for s, one in reversed(list(enumerate(built.loudspeakers)))}
    if not {"left", "right"} <= set(sides):
        return 0.0
    response = results.responses.response
    bands = response.levels.bands
    judged = (bands.lower_hz >= results.responses.transition_hz) & (bands.nominal_hz <= DIP_HIGHEST_HZ)
    hz = response.frequencies_hz
    levels = []
    for side in ("left", "right"):
        heard = smoothed_db(hz, response.total[sides[side], 0])
        levels.append(np.interp(bands.nominal_hz[judged], hz, heard))
    return float(np.sqrt(np.mean((levels[0] - levels[1]) ** 2))) if judged.any() else 0.0


# Two measures against each other, in words that every question shares.


@printable
@dataclass(frozen=True, slots=True)
class Change:
    """One component, or the whole, of a layout against another.

    Attributes
    ----------
    name, words
        "early" and the like, "total", "desk dip", "dip" or "hurts"; and the whole in words.
    verdict
        "better", "worse" or "the same".
    """

    name: str
    words: str
    verdict: str


def verdict_of(before: float, after: float, same: float = SAME_DB) -> str:
    """Whether less is "better", "worse" or, by less than the uncertainty, "the same"."""
    if abs(after - before) < same:
        return "the same"
    return "better" if after < before else "worse"


def component_words(measure: Measure) -> tuple[str, ...]:
    """The measure and each component as a sentence of one form everywhere."""
    lines = [f"measure: {measure.total_db:.1f} dB (less is better)"]
    for name, (words, unit) in COMPONENTS.items():
        weight = f", times {measure.weights[name]:g}" if measure.weights[name] != 1.0 else ""
        lines.append(f"{words}: {measure.components[name]:.1f} {unit}{weight}")
    return tuple(lines)


def changes_between(before: Measure, after: Measure) -> tuple[Change, ...]:
    """What differs between two layouts, the measure first, then each component, the desk's dip and what hurts."""
    total = verdict_of(before.total_db, after.total_db)
    found = [Change("total", f"measure: {before.total_db:.1f} dB, then {after.total_db:.1f} dB", total)]
    for name, (words, unit) in COMPONENTS.items():
        one, other = before.components[name], after.components[name]
        same = SAME_DB / max(before.weights[name], 1.0)
        found.append(Change(name, f"{words}: {one:.1f} {unit}, then {other:.1f} {unit}", verdict_of(one, other, same)))
    for key, words in (("desk_dip_hz", "first dip of the desk"), ("dip_hz", "the wide dip that counts most")):
        found += _dip_changes(before, after, key, words)
    found += [Change("hurts", f"new: {words}", "worse") for words in after.hindrances if words not in before.hindrances]
    found += [
        Change("hurts", f"no more: {words}", "better") for words in before.hindrances if words not in after.hindrances
    ]
    return tuple(found)


def _dip_changes(before: Measure, after: Measure, key: str, words: str) -> list[Change]:
    """A dip that moves down is worse, one that moves up or goes is better; loudspeakers that do alike are one."""
    found: dict[tuple[str, str], list[str]] = {}
    for s, name in enumerate(before.loudspeakers[: len(after.loudspeakers)]):
        twin = after.loudspeakers.index(name) if name in after.loudspeakers else s
        one, other = float(getattr(before, key)[s]), float(getattr(after, key)[twin])
        texts = [f"{hz:.0f} Hz" if np.isfinite(hz) else "none" for hz in (one, other)]
        low = [hz if np.isfinite(hz) else np.inf for hz in (one, other)]
        if low == [np.inf, np.inf]:
            continue
        if key == "dip_hz":
            texts = [
                f"{text} by {db:.0f} dB" if text != "none" else text
                for text, db in zip(texts, (before.dip_db[s], after.dip_db[twin]), strict=True)
            ]
        away = abs(float(np.log2(low[1] / low[0]))) if np.isfinite(low).all() else np.inf
        verdict = "the same" if away < SAME_OCTAVES else "better" if low[1] > low[0] else "worse"
        found.setdefault((f"{words}: {texts[0]}, then {texts[1]}", verdict), []).append(name)
    return [
        Change(key, text if len(names) == len(before.loudspeakers) else f"{' and '.join(names)}: {text}", verdict)
        for (text, verdict), names in found.items()
    ]
