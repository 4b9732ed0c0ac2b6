"""The arrivals table: sound that came one way, ranked by harm, with the panels it meets, against the target."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from sim.acoustics.bands import Bands, sample_frequencies, transition_frequency_hz
from sim.acoustics.levels import level_db
from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray, frozen
from sim.blueprint.schema import Blueprint
from sim.blueprint.targets import Target
from sim.placement.stage import Stage
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.propagation.surfaces.incidence import meetings_with
from sim.propagation.surfaces.panel_fractions import panel_shares
from sim.responses.records import Arrival, Part, Verdict

GOVERNS = 0.5
"""Share of the pressure from which on a panel is named; 1/2 is that of one whose edge lies on the reflection point."""
JOINT = " and "


def with_panels(
    stage: Stage, paths: PathTable, arrivals: Sequence[Arrival], nominal_hz: FloatArray, exact_hz: FloatArray
) -> list[Arrival]:
    """Name for each surface of each arrival the panel that sound of the main driver meets there, at its worst octave.

    Panels of one plane are taken together, so that a joint at the mirror point does not hide them: if the magnitude of
    their shares' sum is above 1/2, those with at least half the share of the largest are named.  nominal_hz and
    exact_hz (band,) tell the middle of the octave that an arrival calls its worst.
    """
    rows = np.array([arrival.main.path for arrival in arrivals], dtype=np.int64)
    if not stage.panels or not rows.size:
        return list(arrivals)
    some = paths.chosen(rows)
    wanted = np.isin(stage.room.arrays.plane, [panel.plane for panel in stage.panels])
    place, turn = np.nonzero((some.facets >= 0) & wanted[np.maximum(some.facets, 0)])
    meetings = meetings_with(stage, some, wanted)  # in the same order
    plane = stage.room.arrays.plane[meetings.facet]
    worst = np.array([int(np.flatnonzero(nominal_hz == arrival.worst_band_hz)[0]) for arrival in arrivals])
    names = [[""] * arrival.order for arrival in arrivals]
    for here in dict.fromkeys(panel.plane for panel in stage.panels):
        mine = np.flatnonzero(plane == here)
        hung = [panel for panel in stage.panels if panel.plane == here]
        speed = stage.air.speed_of_sound_m_s
        shares = np.array([panel_shares(panel, meetings.chosen(mine), exact_hz, speed) for panel in hung])
        for number, meeting in enumerate(mine):
            met = _governing([panel.name for panel in hung], shares[:, number, worst[place[meeting]]])
            names[place[meeting]][turn[meeting]] = met
    return [replace(arrival, panels=tuple(one)) for arrival, one in zip(arrivals, names, strict=True)]


def _governing(names: Sequence[str], shares: ComplexArray) -> str:
    """Names of the panels of one plane that govern a reflection by their shares (panel,), or an empty text."""
    if abs(shares.sum()) <= GOVERNS:
        return ""
    sizes = np.abs(shares)
    return JOINT.join(name for name, size in zip(names, sizes, strict=True) if size >= 0.5 * sizes.max())


# The arrivals table: sound that came one way, all drivers of a loudspeaker together, ranked by harm.

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


# Arrivals against the target, and the frequency below which rays are not judged.


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


def nominal_reverberation_s(volume_m3: float) -> float:
    """0.25 s (V/100 m3)^(1/3): nominal decay time of a listening room (ITU-R BS.1116-3, value from memory)."""
    return float(0.25 * (volume_m3 / 100.0) ** (1.0 / 3.0))


def judged_from_hz(blueprint: Blueprint, stage: Stage) -> float:
    """Transition frequency in Hz below which single resonances rule and rays are not judged.

    Uses the measured decay time of the scene, or the nominal one of a listening room of this volume.
    """
    decay_s = blueprint.room.reverberation_time_s or nominal_reverberation_s(stage.volume_m3)
    return transition_frequency_hz(decay_s, stage.volume_m3)
