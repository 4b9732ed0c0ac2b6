"""Surfaces and the ear in several layouts: level, delay, first notch, and what single things add."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.acoustics.levels import SILENCE_DB
from sim.answers import printable
from sim.arrays import BoolArray, FloatArray, frozen
from sim.blueprint.units import small_words
from sim.responses.arrivals import in_window
from sim.responses.records import Arrival, Results
from sim.showing.numbers import hertz
from sim.showing.words import fails_by


@printable
@dataclass(frozen=True, slots=True)
class SurfaceChange:
    """One surface as a first-order reflector of one loudspeaker, in each layout.

    Attributes
    ----------
    loudspeaker, surface
        Whose sound, and where it strikes.
    worst_db, delay_ms, first_notch_hz, margin_m
        (layout,) highest level among the target's octaves, dB re direct; delay after the direct sound; lowest notch;
        distance from vanishing; nan where it sends nothing.
    why_not
        (layout,) why it sends nothing there, or an empty text.
    """

    loudspeaker: str
    surface: str
    worst_db: FloatArray
    delay_ms: FloatArray
    first_notch_hz: FloatArray
    margin_m: FloatArray
    why_not: tuple[str, ...]


def silent(level: float) -> bool:
    """Whether a level in dB stands for "nothing arrives"."""
    return level <= SILENCE_DB


def heard(result: Results, loudspeaker: str) -> list[Arrival]:
    """Everything but direct sound that reaches the first listener from a loudspeaker."""
    ear = result.built.listener_names[0]
    return [a for a in result.responses.arrivals if a.loudspeaker == loudspeaker and a.listener == ear and a.order > 0]


def surface_changes(results: Sequence[Results], loudspeakers: Sequence[str], name: str) -> list[SurfaceChange]:
    """Follow every surface that mirrors the loudspeaker `name` in any layout; `loudspeakers` are its names there."""
    tables = []
    for result, loudspeaker in zip(results, loudspeakers, strict=True):
        table: dict[str, Arrival] = {}
        for arrival in heard(result, loudspeaker):
            if arrival.order == 1 and not arrival.diffracted and not silent(arrival.worst_db):
                table.setdefault(arrival.surfaces[0], arrival)
        tables.append(table)
    surfaces = dict.fromkeys(surface for table in tables for surface in table)

    def row(surface: str, value: str) -> FloatArray:
        values = []
        for table in tables:
            arrival = table.get(surface)
            if arrival is None:
                values.append(np.nan)
            elif value == "worst_db":
                values.append(arrival.worst_db)
            elif value == "notch":
                values.append(arrival.notches_hz[0])
            else:
                values.append(float(getattr(arrival.main, value)))
        return frozen(np.array(values, dtype=np.float64))

    return [
        SurfaceChange(
            name,
            surface,
            row(surface, "worst_db"),
            row(surface, "delay_ms"),
            row(surface, "notch"),
            row(surface, "margin_m"),
            tuple(
                "" if surface in table else _why_not(result, loudspeaker, surface)
                for result, loudspeaker, table in zip(results, loudspeakers, tables, strict=True)
            ),
        )
        for surface in surfaces
    ]


def _why_not(result: Results, loudspeaker: str, surface: str) -> str:
    """Say why a surface sends nothing: what blocks it, or how far off the reflection point lies, whichever is less."""
    mine = [c for c in result.candidates if c.loudspeaker == loudspeaker and c.surface == surface and c.listener == 0]
    if any(c.status == "reaches" for c in mine):
        return "it takes away all sound"
    unit = result.scene.blueprint.units
    failing = [c for c in mine if c.status in ("blocked", "misses")]
    if failing:  # the nearest, as `near_misses` tells it: a trace and a comparison say the same
        least = min(failing, key=fails_by)
        by = f"{small_words(fails_by(least), unit)}" if np.isfinite(fails_by(least)) else ""
        fragile = ": fragile" if least.fragile else ""
        if least.status == "misses":
            return f"the reflection point lies {by} outside it{fragile}"
        names = " and the ".join(sorted({c.blocked_by for c in failing if c.status == "blocked"}))
        return f"blocked by the {names}{f', by {by}' if by else ''}{fragile}"
    facets = [facet for facet in result.built.room.facets if facet.name == surface]
    if not facets:
        return "there is no such surface"
    planes = {facet.plane for facet in facets}
    beside = [
        c.surface
        for c in result.candidates
        if c.loudspeaker == loudspeaker and c.listener == 0 and result.built.room.facets[c.facet].plane in planes
    ]
    return f"the reflection point lies on the {beside[0]}" if beside else "it faces away"


# Layouts at the ear: what single things add to the response, which notches they make, what comes round edges.

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
        s = [one.name for one in result.built.loudspeakers].index(loudspeaker)
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
    reported = []
    for result, loudspeaker in zip(results, loudspeakers, strict=True):
        pair = (loudspeaker, result.built.listener_names[0])
        mine = [one for one in result.responses.notches if (one.loudspeaker, one.listener) == pair and one.present]
        words = [
            f"{one.frequency_hz:.0f} Hz {one.depth_db:.0f} dB ({one.surface or 'several surfaces'})"
            for one in mine[:LISTED_NOTCHES]
        ]
        reported.append(", ".join(words) or "none")
    return tuple(reported)


def strongest_edge_paths(results: Sequence[Results], loudspeakers: Sequence[str]) -> tuple[str, ...]:
    """For each layout the strongest sound round an edge inside the target's window, as words."""
    reported = []
    for result, loudspeaker in zip(results, loudspeakers, strict=True):
        target = result.scene.blueprint.target
        diffracted = [one for one in heard(result, loudspeaker) if one.diffracted and in_window(one, target)]
        if not diffracted:
            reported.append("none")
            continue
        worst = max(diffracted, key=lambda one: one.worst_db)
        reported.append(
            f"{worst.worst_db:.1f} dB at {hertz(worst.worst_band_hz)}, {worst.main.delay_ms:.2f} ms: {worst.via}"
        )
    return tuple(reported)
