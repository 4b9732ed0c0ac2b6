"""The arrivals table: sound that came over one path, all drivers of a loudspeaker together, ranked by harm, judged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from sim.acoustics.bands import Bands, sample_frequencies
from sim.acoustics.levels import level_db
from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray, frozen
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.finite_facets import is_beside
from sim.responses.joined_edges import joints_of
from sim.responses.path_kinds import DiffractedPaths, ListedPaths, SpecularPaths
from sim.responses.records import Arrival, Part, Verdict

POINTS_PER_OCTAVE = 12
"""Frequencies per octave for band levels; 24 change a level by less than 0.1 dB except in a driver's null."""
NOT_LISTED = 10.0 ** (-50.0 / 10.0)
"""Sound of edges that is nearly all counted with reflections, and reflections beside their facets, are listed from this
energy re direct on."""
NOTCH_GRID_HZ = np.geomspace(5.0, 20_000.0, 1600)


def list_arrivals(
    built: BuiltScene, paths: PathTable, bands: Bands, target: Target, *others: ListedPaths, notches: bool = True
) -> tuple[Arrival, ...]:
    """Group paths (one a driver) into arrivals (all drivers over the same surfaces), with levels per octave, ranked.

    `paths` holds the direct sound, against which all is held; `others` are the tables of further kinds of path.

    The rank is by harm: the highest level among the octaves of the target band; arrivals inside the target's window
    come before those outside.  Levels are energies of the complex sum of the drivers, so that two drivers arriving
    out of step at crossover count for what they are.  Without `notches` those of the arrivals are left out (as
    infinite), which is half of the work.
    """
    frequencies = sample_frequencies(bands, POINTS_PER_OCTAVE)
    judged = in_target_band(bands, target)
    references: dict[tuple[int, int], _Reference] = {}
    listed: list[Arrival] = []
    tables, beside = (SpecularPaths(built, paths), *others), is_beside(paths)
    all_gains = _gains(built, paths, tables, frequencies.ravel())
    nothing = [np.zeros((len(table.length_m), 0), dtype=np.complex128) for table in tables]
    all_fine = _gains(built, paths, tables, NOTCH_GRID_HZ) if notches else nothing
    for table, whole, fine in zip(tables, all_gains, all_fine, strict=True):
        gains = whole.reshape(len(table.length_m), *frequencies.shape)
        mine = []
        for pair, rows in _by_pair(built, table):
            if pair not in references:
                direct = rows[paths.order[rows] == 0]
                references[pair] = _Reference(
                    band_energy(gains[direct].sum(axis=0)),
                    fine[direct].sum(axis=0),
                    {int(paths.driver[row]): float(paths.length_m[row]) for row in direct},
                )
            reference = references[pair]
            for same in _same_arrival(table, rows):
                energy = band_energy(gains[same].sum(axis=0)) / reference.energy
                if float(energy.max()) < NOT_LISTED and (table is not tables[0] or beside[same].all()):
                    continue
                fractions = band_energy(gains[same]) / reference.energy
                ranked = np.argsort(-fractions[:, judged].sum(axis=1), kind="stable")
                parts = tuple(
                    _part(built, table, int(same[k]), reference.length_m, level_db(fractions[k])) for k in ranked
                )
                levels, row = level_db(energy), int(same[0])
                worst = int(np.flatnonzero(judged)[np.argmax(levels[judged])])
                order, touched = table.order(row), table.touched(row)
                crossed = first_notches_hz(fine[same].sum(axis=0) / reference.fine)
                mine.append(
                    Arrival(
                        loudspeaker=built.loudspeakers[pair[0]].name,
                        listener=built.listener_names[pair[1]],
                        number=0,
                        kind=table.kind(row),
                        order=order,
                        surfaces=touched.surfaces,
                        owners=touched.owners,
                        materials=touched.materials,
                        parts=parts,
                        level_db=frozen(levels),
                        worst_db=float(levels[worst]),
                        worst_band_hz=float(bands.nominal_hz[worst]),
                        notches_hz=crossed if order else (np.inf, np.inf, np.inf),
                        blocked=any(table.blocked(int(row)) for row in same),
                    )
                )
        listed.extend(table.with_panels(mine, bands))
    return rank_by_harm(listed, target)


def band_energy(gains: ComplexArray) -> FloatArray:
    """Mean energy (..., band) of gains (..., band, points)."""
    return np.asarray((gains.real**2 + gains.imag**2).mean(axis=-1))


def _gains(
    built: BuiltScene, paths: PathTable, tables: Sequence[ListedPaths], frequencies_hz: FloatArray
) -> list[ComplexArray]:
    """Gains (p, f) of each table, those of edges shared out among the mirrored paths that end at them."""
    gains = [table.gains(frequencies_hz) for table in tables]
    for table, edges in zip(tables, gains, strict=True):
        if isinstance(table, DiffractedPaths) and len(table.length_m):
            joints_of(built, paths, table.table).share_out(gains[0], edges, frequencies_hz)
    return gains


class _Reference(NamedTuple):
    """Direct sound of one loudspeaker at one listener: energy per band, pressure on the notch grid, driver lengths."""

    energy: FloatArray
    fine: ComplexArray
    length_m: dict[int, float]


def first_notches_hz(ratio: ComplexArray) -> tuple[float, float, float]:
    """First three frequencies at which an arrival is in antiphase with the direct sound; infinite where there are less.

    ratio (n,) is arrival over direct on `NOTCH_GRID_HZ`, all drivers of both added.  For one driver and hard
    surfaces these are (2n + 1)/(2 delay).  With several, each frequency has the delay of the driver that plays it.
    """
    crossed = np.flatnonzero(
        (ratio.imag[:-1] * ratio.imag[1:] < 0.0) & (ratio.real[:-1] < 0.0) & (ratio.real[1:] < 0.0)
    )
    fraction = ratio.imag[crossed] / (ratio.imag[crossed] - ratio.imag[crossed + 1])
    found = NOTCH_GRID_HZ[crossed] + fraction * (NOTCH_GRID_HZ[crossed + 1] - NOTCH_GRID_HZ[crossed])
    first = [*(float(frequency) for frequency in found[:3]), np.inf, np.inf, np.inf]
    return (first[0], first[1], first[2])


def in_target_band(bands: Bands, target: Target) -> BoolArray:
    """Which octaves (band,) the target speaks of; the nearest one if its band holds no octave's middle."""
    low, high = target.band_hz
    inside = (bands.nominal_hz >= low) & (bands.nominal_hz <= high)
    if not inside.any():
        inside[np.argmin(np.abs(np.log(bands.nominal_hz / np.sqrt(max(low, 1.0) * high))))] = True
    return np.asarray(inside, dtype=np.bool_)


def _by_pair(built: BuiltScene, table: ListedPaths) -> Iterator[tuple[tuple[int, int], IntArray]]:
    for s in range(len(built.loudspeakers)):
        for place in range(len(built.ears)):
            yield (s, place), np.flatnonzero((table.loudspeaker == s) & (table.listener == place))


def _same_arrival(table: ListedPaths, rows: IntArray) -> list[IntArray]:
    """Rows that touch the same surfaces and edges in the same order, direct sound first."""
    groups: dict[tuple[int, ...], list[int]] = {}
    for row in rows:
        groups.setdefault(tuple(int(k) for k in table.same_arrival[row]), []).append(int(row))
    return [np.array(group) for group in groups.values()]


def _part(built: BuiltScene, table: ListedPaths, row: int, direct_m: dict[int, float], levels: FloatArray) -> Part:
    speed, driver = built.air.speed_of_sound_m_s, int(table.driver[row])
    loudspeaker = built.loudspeakers[table.loudspeaker[row]]
    length = float(table.length_m[row])
    extra = length - direct_m[driver]
    departure, arrival = table.directions(row)
    depth, across, up = arrival
    margin = table.margin(row)
    return Part(
        path=row,
        driver=loudspeaker.model.drivers[driver].name,
        points=frozen(table.points(row)),
        length_m=length,
        extra_path_m=extra,
        delay_ms=1000.0 * extra / speed,
        flight_time_ms=1000.0 * length / speed,
        departure_deg=float(loudspeaker.off_axis_deg(departure)),
        arrival_azimuth_deg=float(np.degrees(np.arctan2(across, -depth))),
        arrival_elevation_deg=float(np.degrees(np.arcsin(np.clip(up, -1.0, 1.0)))),
        margin_m=margin.margin_m,
        margin_cause=margin.cause,
        level_db=frozen(levels),
    )


def rank_by_harm(arrivals: Sequence[Arrival], target: Target) -> tuple[Arrival, ...]:
    """Number the arrivals of each loudspeaker and listener by harm, inside the window first; direct sound is 0."""

    def harm(arrival: Arrival) -> tuple[bool, bool, float]:
        return (arrival.order > 0, not in_window(arrival, target), -arrival.worst_db)

    pairs = dict.fromkeys((arrival.loudspeaker, arrival.listener) for arrival in arrivals)
    numbered: list[Arrival] = []
    for pair in pairs:
        mine = sorted((a for a in arrivals if (a.loudspeaker, a.listener) == pair), key=harm)
        numbered += [replace(arrival, number=rank) for rank, arrival in enumerate(mine)]
    return tuple(numbered)


def in_window(arrival: Arrival, target: Target) -> bool:
    """Whether an arrival falls inside the target's time window."""
    start, end = target.window_ms
    return start <= arrival.main.delay_ms <= end


# Arrivals against the target.


def judge(arrivals: Sequence[Arrival], target: Target) -> tuple[Verdict, ...]:
    """Say for each loudspeaker and listener which arrivals are above the target inside its window."""
    pairs = dict.fromkeys((arrival.loudspeaker, arrival.listener) for arrival in arrivals)
    verdicts = []
    for loudspeaker, listener in pairs:
        mine = [a for a in arrivals if (a.loudspeaker, a.listener) == (loudspeaker, listener) and a.order > 0]
        above = sorted((a for a in mine if a.worst_db > target.level_db), key=lambda a: -a.worst_db)
        offenders = tuple(a.number for a in above if in_window(a, target))
        outside = tuple(a.number for a in above if not in_window(a, target))
        verdicts.append(Verdict(loudspeaker, listener, not offenders, offenders, outside))
    return tuple(verdicts)
