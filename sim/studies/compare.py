"""Two or more layouts side by side: what improved, what got worse, and what did not change.

The first layout is the one the others are compared with.  Loudspeakers are matched by name, else by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..acoustics.bands import Bands
from ..acoustics.decibels import level_db
from ..arrays import FloatArray, frozen
from ..responses.arrivals import in_window
from ..responses.records import Arrival
from ..responses.results import Results

NOTICEABLE_DB = 1.0
"""Differences below this are called no change (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class SurfaceChange:
    """One surface as a first-order mirror of one loudspeaker, in each layout; nan where it sends nothing."""

    loudspeaker: str
    surface: str
    worst_db: FloatArray
    delay_ms: FloatArray
    first_notch_hz: FloatArray
    margin_m: FloatArray


@dataclass(frozen=True, slots=True)
class Comparison:
    """Layouts compared.

    early_db (layout, loudspeaker, band): energy of everything that arrives inside the target window, re direct;
    strongest_db (layout, loudspeaker): the worst single arrival in the target band.  improved, worse, unchanged:
    sentences for each layout after the first.
    """

    titles: tuple[str, ...]
    loudspeakers: tuple[str, ...]
    bands: Bands
    early_db: FloatArray
    strongest_db: FloatArray
    surfaces: tuple[SurfaceChange, ...]
    improved: tuple[tuple[str, ...], ...]
    worse: tuple[tuple[str, ...], ...]
    unchanged: tuple[tuple[str, ...], ...]


def compare(results: Sequence[Results]) -> Comparison:
    """Compare layouts of one room, or of several, at the first listener."""
    first = results[0]
    names = tuple(one.name for one in first.stage.loudspeakers)
    matched = [[_match(result, name, i) for i, name in enumerate(names)] for result in results]
    early = np.array(
        [[early_level_db(result, one) for one in row] for result, row in zip(results, matched, strict=True)]
    )
    strongest = np.array(
        [[_strongest(result, one) for one in row] for result, row in zip(results, matched, strict=True)]
    )
    changes = tuple(
        change for i, name in enumerate(names) for change in _surfaces(results, [row[i] for row in matched], name)
    )
    told = [_told(changes, early, strongest, names, layout) for layout in range(1, len(results))]
    return Comparison(
        titles=tuple(result.scene.blueprint.title for result in results),
        loudspeakers=names,
        bands=first.responses.bands,
        early_db=frozen(early),
        strongest_db=frozen(strongest),
        surfaces=changes,
        improved=tuple(one[0] for one in told),
        worse=tuple(one[1] for one in told),
        unchanged=tuple(one[2] for one in told),
    )


def _match(result: Results, name: str, index: int) -> str:
    names = [one.name for one in result.stage.loudspeakers]
    return name if name in names else names[min(index, len(names) - 1)]


def _heard(result: Results, loudspeaker: str) -> list[Arrival]:
    ear = result.stage.listener_names[0]
    return [a for a in result.responses.arrivals if a.loudspeaker == loudspeaker and a.listener == ear and a.order > 0]


def early_level_db(result: Results, loudspeaker: str) -> FloatArray:
    """Energy (band,) of all arrivals inside the target window, in dB re the direct sound; energies add."""
    target = result.scene.blueprint.target
    rows = [10.0 ** (a.level_db / 10.0) for a in _heard(result, loudspeaker) if in_window(a, target)]
    total = np.sum(rows, axis=0) if rows else np.zeros(len(result.responses.bands))
    return level_db(total)


def _strongest(result: Results, loudspeaker: str) -> float:
    target = result.scene.blueprint.target
    return max((a.worst_db for a in _heard(result, loudspeaker) if in_window(a, target)), default=-np.inf)


def _surfaces(results: Sequence[Results], loudspeakers: Sequence[str], name: str) -> list[SurfaceChange]:
    tables = []
    for result, loudspeaker in zip(results, loudspeakers, strict=True):
        table: dict[str, Arrival] = {}
        for arrival in _heard(result, loudspeaker):
            if arrival.order == 1:
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
            name, surface, row(surface, "worst_db"), row(surface, "delay_ms"), row(surface, "notch"),
            row(surface, "margin_m"),
        )
        for surface in surfaces
    ]  # fmt: skip


def _told(
    changes: Sequence[SurfaceChange], early: FloatArray, strongest: FloatArray, names: Sequence[str], layout: int
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    better: list[str] = []
    worse: list[str] = []
    same: list[str] = []
    for i, name in enumerate(names):
        step = float(strongest[layout, i] - strongest[0, i])
        words = f"{name}: strongest reflection {strongest[0, i]:.1f} dB, then {strongest[layout, i]:.1f} dB"
        _sort(step, words, better, worse, same)
    for change in changes:
        before, after = float(change.worst_db[0]), float(change.worst_db[layout])
        who = f"{change.loudspeaker} by way of the {change.surface}"
        if np.isnan(before) and np.isnan(after):
            continue
        if np.isnan(after):
            better.append(f"{who}: {before:.1f} dB at {change.delay_ms[0]:.2f} ms is gone")
        elif np.isnan(before):
            worse.append(f"{who}: new, {after:.1f} dB at {change.delay_ms[layout]:.2f} ms")
        else:
            words = f"{who}: {before:.1f} dB at {change.delay_ms[0]:.2f} ms, then {after:.1f} dB at"
            words += f" {change.delay_ms[layout]:.2f} ms; still mirrors, first notch"
            words += f" {change.first_notch_hz[0]:.0f} Hz, then {change.first_notch_hz[layout]:.0f} Hz"
            _sort(after - before, words, better, worse, same)
    return tuple(better), tuple(worse), tuple(same)


def _sort(step_db: float, words: str, better: list[str], worse: list[str], same: list[str]) -> None:
    """Put words where they belong; a change in favour is a level that fell."""
    if step_db <= -NOTICEABLE_DB:
        better.append(words)
    elif step_db >= NOTICEABLE_DB:
        worse.append(words)
    else:
        same.append(words)
