"""What measured levels say of what surfaces take, octave by octave, and where they cannot say it.

A reflection that stands alone in an octave tells how loud it is; what is left of its level over the predicted one is
shared out among the surfaces and panels it touched, by least squares.  An octave's pulse lasts long in a small room, so
mostly other reflections add or cancel, and their part is the error of each reading.  A surface is told only when two
readings at least bear on it and its interval is narrow; everything else is said to be untold, not given a number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.measuring.neighbours import level_at, level_errors_db, neighbour_energies, pulse_energies
from sim.responses.records import Arrival, Results
from sim.studies.match.fitted_records import SurfaceLevel
from sim.studies.match.records import MatchedResponse

READING_DB: Final = 1.5
"""How well the level of a peak that stands alone is read off (common practice, no source)."""
COMMON_DB: Final = 1.0
"""What all readings of one surface may be off together, by the loudspeaker's directivity and by what is too late or too
faint to be predicted; more readings do not help against it (our choice)."""
LAST_MS: Final = 15.0
"""Later, more arrives than is predicted."""
LEAST_PROMINENCE_DB: Final = 5.0
HIGHEST_HZ: Final = 8000.0
EXPECTED_DB: Final = 6.0
"""How far what a surface reflects may be from what its material says, as a standard deviation (our choice)."""
WIDEST_READING_DB: Final = 4.0
"""A reading that neighbours make more uncertain than this tells nothing."""
TOLD_DB: Final = 3.0
"""Half of the widest interval of 95 % that is still called told."""
LEAST_READINGS: Final = 2
ABOVE_NOISE_DB: Final = 10.0
WITHIN_MS: Final = 0.12
LOWEST_HZ: Final = 500.0
HUBER: Final = 2.0
"""Readings further off than so many errors are held down (Huber, Ann. Math. Stat. 35 (1964) 73-101)."""


@dataclass(frozen=True, slots=True)
class _Reading:
    """A peak's level in each octave less the predicted one (band,), its error, and what the reflection touched."""

    off_db: FloatArray
    error_db: FloatArray
    touched: tuple[str, ...]


def surface_levels(results: Results, responses: Sequence[MatchedResponse]) -> tuple[SurfaceLevel, ...]:
    """Fit what each surface and panel reflects to the levels of the peaks that have a name of their own."""
    bands = results.responses.bands
    pulse = pulse_energies(results.responses.response.frequencies_hz, bands)
    readings: list[_Reading] = []
    for one in responses:
        readings += _readings(results, one, pulse)
    names = sorted({name for one in readings for name in one.touched})
    if not names:
        return ()
    count = len(bands)
    more, error = np.full((len(names), count), np.nan), np.full((len(names), count), np.nan)
    bearing = np.zeros((len(names), count))
    for band in range(count):
        if not max(LOWEST_HZ, results.responses.transition_hz) <= bands.nominal_hz[band] <= HIGHEST_HZ:
            continue
        some = [one for one in readings if one.error_db[band] <= WIDEST_READING_DB]
        if not some:
            continue
        design = np.array([[one.touched.count(name) for name in names] for one in some], dtype=np.float64)
        off, sure = np.array([one.off_db[band] for one in some]), np.array([one.error_db[band] for one in some])
        value, spread = _shared_out(design, off, sure)
        bearing[:, band] = np.sum(design > 0.0, axis=0)
        told = (bearing[:, band] >= LEAST_READINGS) & (1.96 * spread <= TOLD_DB)
        more[told, band], error[told, band] = value[told], 1.96 * spread[told]
    panels = {panel.name for panel in results.built.panels}
    return tuple(
        _level(results, name, name in panels, more[row], error[row], bearing[row]) for row, name in enumerate(names)
    )


def _shared_out(design: FloatArray, off_db: FloatArray, error_db: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What each name reflects more (n,) and its standard error, of readings (r,) that touched it (r, n) times."""
    known = np.eye(design.shape[1]) / EXPECTED_DB**2
    weight = 1.0 / error_db**2
    value: FloatArray = np.zeros(design.shape[1])
    now: FloatArray = weight
    for _ in range(10):
        wild = np.abs(off_db - design @ value) / error_db
        now = weight * np.minimum(1.0, HUBER / np.maximum(wild, 1e-9))
        curved = design.T @ (design * now[:, np.newaxis]) + known
        value = np.asarray(np.linalg.solve(curved, design.T @ (now * off_db)), dtype=np.float64)
    wild = np.abs(off_db - design @ value) / error_db
    freedom = max(len(off_db) - design.shape[1], 1)
    widened = max(1.0, float(np.sqrt(np.sum(np.minimum(wild, HUBER) ** 2) / freedom)))
    inverse = np.linalg.inv(design.T @ (design * now[:, np.newaxis]) / widened**2 + known)
    return value, np.asarray(np.sqrt(np.diag(inverse) + COMMON_DB**2))


def _readings(results: Results, one: MatchedResponse, pulse: tuple[FloatArray, FloatArray]) -> list[_Reading]:
    mine = [
        each
        for each in results.responses.arrivals
        if (each.loudspeaker, each.listener) == (one.loudspeaker, one.listener)
    ]
    delays = np.array([each.main.delay_ms for each in mine])
    errors = level_errors_db(*neighbour_energies(delays, np.array([each.level_db for each in mine]), pulse))
    place = {each.number: k for k, each in enumerate(mine)}
    noise = one.curves.noise_db if np.isfinite(one.curves.noise_db) else -np.inf
    found = []
    for peak in one.peaks:
        clear = peak.named and peak.tied == 1 and peak.prominence_db >= LEAST_PROMINENCE_DB and peak.time_ms <= LAST_MS
        number = peak.candidates[0].number if clear else -1
        if number not in place or mine[place[number]].diffracted:
            continue
        arrival = mine[place[number]]
        time_ms, curves = one.curves.time_ms, one.curves.octave_db
        level = np.array([level_at(time_ms, curve, peak.time_ms, WITHIN_MS) for curve in curves])
        error = np.hypot(errors[place[number]], READING_DB)
        error[level < noise + ABOVE_NOISE_DB] = np.inf
        found.append(_Reading(level - arrival.level_db, error, _touched(arrival)))
    return found


def _touched(arrival: Arrival) -> tuple[str, ...]:
    """What a reflection met, in order: the panel where there is one, else the surface."""
    panels = arrival.panels or ("",) * len(arrival.surfaces)
    return tuple(panel or surface for surface, panel in zip(arrival.surfaces, panels, strict=True))


def _level(
    results: Results, name: str, panel: bool, more: FloatArray, error: FloatArray, bearing: FloatArray
) -> SurfaceLevel:
    bands = results.responses.bands
    given, low, high = (np.full(len(bands), np.nan) for _ in range(3))
    facets = [] if panel else list(results.built.room.facet_numbers(name))
    of_facet = results.built.finish_of_facet
    layered = len(of_facet) > 0 and any(of_facet[facet] >= 0 for facet in facets)
    if facets and not layered:
        largest = max(facets, key=lambda facet: results.built.room.facets[facet].area_m2)
        known = results.built.absorption[largest]
        given[: len(known)] = known
        low = np.clip(1.0 - (1.0 - given) * 10.0 ** ((more + error) / 10.0), 0.0, 1.0)
        high = np.clip(1.0 - (1.0 - given) * 10.0 ** ((more - error) / 10.0), 0.0, 1.0)
    return SurfaceLevel(
        name,
        panel,
        frozen(np.array(bands.nominal_hz, dtype=np.float64)),
        frozen(more),
        frozen(error),
        frozen(given),
        frozen(low),
        frozen(high),
        frozen(bearing),
    )
