"""The arrivals table: sound that came one way, all drivers of a loudspeaker together, ranked by harm."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from ..acoustics.bands import Bands, sample_frequencies
from ..acoustics.decibels import level_db
from ..arrays import BoolArray, ComplexArray, FloatArray, IntArray, frozen
from ..blueprint.targets import Target
from ..placement.stage import Stage
from ..propagation.gains import path_gains
from ..propagation.paths import PathTable
from .met_panels import with_panels
from .records import Arrival, Part

POINTS_PER_OCTAVE = 12
"""Frequencies per octave for band levels; 24 change a level by less than 0.1 dB except in a driver's null."""
NOTCH_GRID_HZ = np.geomspace(5.0, 20_000.0, 1600)


def list_arrivals(
    stage: Stage, paths: PathTable, bands: Bands, target: Target, *, notches: bool = True
) -> tuple[Arrival, ...]:
    """Group paths (one a driver) into arrivals (one a way), with levels per octave, ranked by harm.

    Harm is the highest level among the octaves of the target band; arrivals inside the target's window come
    before those outside.  Levels are energies of the complex sum of the drivers, so that two drivers arriving
    out of step at crossover count for what they are.  Without `notches` those of the arrivals are left out (as
    infinite), which is half of the work.
    """
    frequencies = sample_frequencies(bands, POINTS_PER_OCTAVE)
    gains = path_gains(stage, paths, frequencies.ravel()).reshape(len(paths), *frequencies.shape)
    fine = path_gains(stage, paths, NOTCH_GRID_HZ) if notches else np.zeros((len(paths), 0), dtype=np.complex128)
    judged = in_target_band(bands, target)
    listed: list[Arrival] = []
    for s, place, rows in _by_pair(stage, paths):
        direct = rows[paths.order[rows] == 0]
        reference = np.mean(np.abs(gains[direct].sum(axis=0)) ** 2, axis=-1)
        straight = fine[direct].sum(axis=0)
        direct_m = {int(paths.driver[row]): float(paths.length_m[row]) for row in direct}
        mine = []
        for ways in _same_way(paths, rows):
            energy = np.mean(np.abs(gains[ways].sum(axis=0)) ** 2, axis=-1) / reference
            shares = np.mean(np.abs(gains[ways]) ** 2, axis=-1) / reference
            ranked = ways[np.argsort(-shares[:, judged].sum(axis=1), kind="stable")]
            parts = tuple(
                _part(stage, paths, s, int(row), direct_m, level_db(shares[np.flatnonzero(ways == row)[0]]))
                for row in ranked
            )
            found = first_notches_hz(fine[ways].sum(axis=0) / straight)
            mine.append(_arrival(stage, paths, s, place, ways, parts, level_db(energy), found, judged, bands))
        listed.extend(mine)
    listed = with_panels(stage, paths, listed, bands.nominal_hz, bands.exact_hz)
    return rank_by_harm(listed, target)


def first_notches_hz(ratio: ComplexArray) -> tuple[float, float, float]:
    """First three frequencies at which an arrival is in antiphase with the direct sound; infinite where there are less.

    ratio (n,) is arrival over direct on `NOTCH_GRID_HZ`, all drivers of both added.  For one driver and hard
    surfaces these are (2n + 1)/(2 delay).  With several, each frequency has the delay of the driver that plays it.
    """
    crossed = np.flatnonzero(
        (ratio.imag[:-1] * ratio.imag[1:] < 0.0) & (ratio.real[:-1] < 0.0) & (ratio.real[1:] < 0.0)
    )
    share = ratio.imag[crossed] / (ratio.imag[crossed] - ratio.imag[crossed + 1])
    found = NOTCH_GRID_HZ[crossed] + share * (NOTCH_GRID_HZ[crossed + 1] - NOTCH_GRID_HZ[crossed])
    first = [*(float(frequency) for frequency in found[:3]), np.inf, np.inf, np.inf]
    return (first[0], first[1], first[2])


def in_target_band(bands: Bands, target: Target) -> BoolArray:
    """Which octaves (band,) the target speaks of; the nearest one if its band holds no octave's middle."""
    low, high = target.band_hz
    inside = (bands.nominal_hz >= low) & (bands.nominal_hz <= high)
    if not inside.any():
        inside[np.argmin(np.abs(np.log(bands.nominal_hz / np.sqrt(max(low, 1.0) * high))))] = True
    return np.asarray(inside, dtype=np.bool_)


def _by_pair(stage: Stage, paths: PathTable) -> Iterator[tuple[int, int, IntArray]]:
    for s in range(len(stage.loudspeakers)):
        for place in range(len(stage.ears)):
            yield s, place, np.flatnonzero((paths.loudspeaker == s) & (paths.listener == place))


def _same_way(paths: PathTable, rows: IntArray) -> list[IntArray]:
    """Rows that touch the same facets in the same order, direct sound first."""
    groups: dict[tuple[int, ...], list[int]] = {}
    for row in rows:
        groups.setdefault(tuple(int(f) for f in paths.facets[row]), []).append(int(row))
    return [np.array(group) for group in groups.values()]


def _part(stage: Stage, paths: PathTable, s: int, row: int, direct_m: dict[int, float], levels: FloatArray) -> Part:
    speed = stage.air.speed_of_sound_m_s
    driver = int(paths.driver[row])
    order = int(paths.order[row])
    length = float(paths.length_m[row])
    extra = length - direct_m[driver]
    depth, across, up = paths.arrival[row]
    loudspeaker = stage.loudspeakers[s]
    return Part(
        path=row,
        driver=loudspeaker.model.drivers[driver].name,
        points=frozen(paths.points[row, :order].copy()),
        length_m=length,
        extra_path_m=extra,
        delay_ms=1000.0 * extra / speed,
        flight_time_ms=1000.0 * length / speed,
        departure_deg=float(loudspeaker.off_axis_deg(paths.departure[row])),
        arrival_azimuth_deg=float(np.degrees(np.arctan2(across, -depth))),
        arrival_elevation_deg=float(np.degrees(np.arcsin(np.clip(up, -1.0, 1.0)))),
        margin_m=float(paths.margin_m[row]),
        margin_cause=_cause(stage, int(paths.margin_facet[row]), int(paths.margin_edge[row])),
        level_db=frozen(levels),
    )


def _cause(stage: Stage, facet: int, edge: int) -> str:
    """Words for what would end a path."""
    if facet >= 0:
        return f"the point leaves the {stage.room.facets[facet].name}"
    if edge >= 0:
        first, _ = stage.room.edges.facets[stage.room.edges.sticking_out[edge]]
        owner = stage.room.facets[int(first)].owner
        return f"an edge of the {owner} comes between"
    return "nothing near"


def _arrival(
    stage: Stage, paths: PathTable, s: int, place: int, ways: IntArray, parts: tuple[Part, ...],
    levels: FloatArray, notches: tuple[float, float, float], judged: BoolArray, bands: Bands,
) -> Arrival:  # fmt: skip
    order = int(paths.order[ways[0]])
    facets = [stage.room.facets[f] for f in paths.facets[ways[0], :order]]
    worst = int(np.flatnonzero(judged)[np.argmax(levels[judged])])
    return Arrival(
        loudspeaker=stage.loudspeakers[s].name,
        listener=stage.listener_names[place],
        number=0,
        kind="mirrored" if order else "direct",
        order=order,
        surfaces=tuple(facet.name for facet in facets),
        owners=tuple(facet.owner for facet in facets),
        materials=tuple(facet.material for facet in facets),
        parts=parts,
        level_db=frozen(levels),
        worst_db=float(levels[worst]),
        worst_band_hz=float(bands.nominal_hz[worst]),
        notches_hz=notches if order else (np.inf, np.inf, np.inf),
        blocked=bool(paths.blocked[ways].any()),
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
