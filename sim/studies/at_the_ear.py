"""Layouts at the ear: what single things add to the response, which notches they make, what comes round edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..answers import printable
from ..arrays import BoolArray, FloatArray, frozen
from ..responses.arrivals import in_window
from ..responses.results import Results
from .surface_changes import heard

LISTED_NOTCHES = 4
LISTED_THINGS = 5
LEAST_DB = 0.5
"""A thing that changes third-octaves by less (root mean square) in every layout is left out."""


@printable
@dataclass(frozen=True, slots=True)
class EarChange:
    """One thing and what it adds to the response of one loudspeaker at the first listener, in each layout.

    Attributes
    ----------
    loudspeaker, kind, name
        kind is "surface" (of the room), "piece" (furniture or a box, all of it with its edges) or "panel".
    third_octave_hz, judged
        (band,) nominal middles; whether a band lies above the transition frequencies of all layouts.
    adds_db
        (layout, band) level with everything less level without the thing; nan where a layout has no such thing.
    rms_db
        (layout) root mean square of the judged bands; nan where there is no such thing or no judged band.
    """

    loudspeaker: str
    kind: str
    name: str
    third_octave_hz: FloatArray
    judged: BoolArray
    adds_db: FloatArray
    rms_db: FloatArray

    def extremes(self, layout: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """(dB, Hz) where it adds most, and where it takes away most or adds least, among judged bands."""
        inside = np.flatnonzero(self.judged)
        row = self.adds_db[layout, inside]
        most, least = int(np.argmax(row)), int(np.argmin(row))
        hz = self.third_octave_hz[inside]
        return (float(row[most]), float(hz[most])), (float(row[least]), float(hz[least]))


def ear_changes(results: Sequence[Results], loudspeakers: Sequence[str], name: str) -> list[EarChange]:
    """Return what matters most to the loudspeaker called `name` in the first layout, strongest in any layout first.

    `loudspeakers` are its names in each layout.  Things that do much, at most five, and all panels.
    """
    bands = results[0].responses.response.levels.bands
    transition_hz = max(result.responses.transition_hz for result in results)
    judged = bands.lower_hz >= transition_hz
    tables = []
    for result, loudspeaker in zip(results, loudspeakers, strict=True):
        levels = result.responses.response.levels
        s = [one.name for one in result.stage.loudspeakers].index(loudspeaker)
        table = levels.whole_db[s, 0]
        things = list(zip(levels.kinds, levels.without, strict=True))
        tables.append({thing: table[0] - table[case] for case, thing in enumerate(things) if case})
    missing = np.full(len(bands), np.nan)
    changes = []
    for kind, thing in dict.fromkeys(key for table in tables for key in table):
        adds = np.array([table.get((kind, thing), missing) for table in tables])
        inside = adds[:, judged]
        rms: FloatArray = np.sqrt((inside**2).mean(axis=1)) if judged.any() else np.full(len(adds), np.nan)
        changes.append(EarChange(name, kind, thing, bands.nominal_hz, frozen(judged), frozen(adds), frozen(rms)))
    strong = [one for one in changes if one.kind == "panel" or np.any(one.rms_db >= LEAST_DB)]
    strong.sort(key=lambda one: -float(np.nan_to_num(one.rms_db).max()))
    return [one for rank, one in enumerate(strong) if rank < LISTED_THINGS or one.kind == "panel"]


def deepest_notches(results: Sequence[Results], loudspeakers: Sequence[str]) -> tuple[str, ...]:
    """For each layout the deepest notches of a loudspeaker as words, with what makes them."""
    told = []
    for result, loudspeaker in zip(results, loudspeakers, strict=True):
        pair = (loudspeaker, result.stage.listener_names[0])
        mine = [one for one in result.responses.notches if (one.loudspeaker, one.listener) == pair and one.present]
        words = [
            f"{one.frequency_hz:.0f} Hz {one.depth_db:.0f} dB ({one.surface or 'several surfaces'})"
            for one in mine[:LISTED_NOTCHES]
        ]
        told.append(", ".join(words) or "none")
    return tuple(told)


def strongest_bends(results: Sequence[Results], loudspeakers: Sequence[str]) -> tuple[str, ...]:
    """For each layout the strongest sound round an edge inside the target's window, as words."""
    told = []
    for result, loudspeaker in zip(results, loudspeakers, strict=True):
        target = result.scene.blueprint.target
        bent = [one for one in heard(result, loudspeaker) if one.bent and in_window(one, target)]
        if not bent:
            told.append("none")
            continue
        worst = max(bent, key=lambda one: one.worst_db)
        told.append(f"{worst.worst_db:.1f} dB at {worst.worst_band_hz:g} Hz, {worst.main.delay_ms:.2f} ms: {worst.way}")
    return tuple(told)
