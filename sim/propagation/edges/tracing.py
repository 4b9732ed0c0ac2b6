"""Edge diffraction, for every driver and listener: single edges, with a mirror before or after, and chains.

Single edges come from every bare edge and the frames of panels (`panel_frames`); one mirror before or after from every
surface large enough to matter; chains of two edges from every body that stands free (`diffraction.free_bodies`).
Gains are kept on one grid of frequencies with the phase of the shortest way taken off, and interpolated where they are
wanted.

Left out, never silently: mirrors smaller than 0.3 m2, and all mirrors in rooms of very many edges; ways that stay 50 dB
under the direct sound in every octave from 125 Hz to 8 kHz (`EdgePathTable.left_out` counts them); chains together
with a mirror.  A chain that another body hides in part has the fraction of its edges that are seen.  Faces beside
single edges reflect what their material does (`soft_faces`); chains are those of rigid bodies.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TypeAlias

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray, frozen
from sim.machine.processes import all_cores
from sim.placement.stage import Stage
from sim.propagation.edges.absorbing_faces import face_weights, stacked, weighted
from sim.propagation.edges.bare import bare_stretches, free_bodies, length_over_two_edges, seen_fractions
from sim.propagation.edges.convex import ConvexBody
from sim.propagation.edges.panel_frames import frame_edges, frame_gains, panel_of
from sim.propagation.edges.plates import Radiation, body_pressure
from sim.propagation.edges.single import EdgePaths, Wedge, edge_gains, images, wedge_of
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.mirrors.image_sources import first_mirrors

FLOOR_DB = -50.0
SMALLEST_MIRROR_M2 = 0.3
LISTENED_HZ = (88.0, 11_300.0)
NONE = -1
MOST_MIRRORED_EDGES = 20_000
"""In rooms with more pairs of edge and mirror than this (scans), edges are bent without mirrors."""
MIRRORED_TO_HZ, CHAIN_TO_HZ = 8000.0, 11_300.0
"""Chains are followed over the octave of 8 kHz and fade out over its upper third."""
SILENT_DB = -40.0
"""A driver that radiates less than this toward the edges of a body, re its most at any frequency, starts no chains."""


def edge_frequencies() -> FloatArray:
    """Grid in Hz (g,): 24 to the octave, but never wider than 75 Hz between 2.6 and 10 kHz.

    Corners of an edge lie up to 3 ms behind its apex; a step of 75 Hz still samples that wiggle four times a turn.
    """
    low = np.geomspace(20.0, 2600.0, 170)
    middle = np.arange(2675.0, 10_000.0, 75.0)
    return np.concatenate([low, middle, np.geomspace(10_000.0, 22_050.0, 28)])


_Row: TypeAlias = tuple[int, int, int, int, int, int, int, FloatArray, float, ComplexArray]


def trace_edges(stage: Stage, order: int = 2) -> EdgePathTable:
    """Bend sound round the edges of the stage, from every driver to every listener; order 1 leaves mirrors out.

    Drivers are shared out among threads (the kernels let go of the interpreter); each is worked on by one thread alone
    and rows keep their order, so the result does not depend on how many there are.
    """
    frequencies = edge_frequencies()
    bare = bare_stretches(stage.room)
    wedges = {edge: wedge_of(stage.room, edge) for edge in bare}
    bodies, frames = free_bodies(stage.room), frame_edges(stage)
    jobs = [
        (s, d, place)
        for s, loudspeaker in enumerate(stage.loudspeakers)
        for d in range(len(loudspeaker.driver_points))
        for place in range(len(stage.ears))
    ]
    with ThreadPoolExecutor(max_workers=all_cores()) as pool:
        done = list(
            pool.map(lambda job: _from_driver(stage, job, wedges, bare, frames, bodies, frequencies, order), jobs)
        )
    rows = [row for some, _ in done for row in some]
    return _table(rows, frequencies, sum(dropped for _, dropped in done))


def _from_driver(
    stage: Stage,
    job: tuple[int, int, int],
    wedges: dict[int, Wedge],
    bare: dict[int, FloatArray],
    frames: dict[int, Wedge],
    bodies: dict[int, ConvexBody],
    frequencies_hz: FloatArray,
    order: int,
) -> tuple[list[_Row], int]:
    """All ways from one driver to one listener (loudspeaker, driver, listener), and how many were dropped."""
    s, d, place = job
    room, speed, loudspeaker = stage.room, stage.air.speed_of_sound_m_s, stage.loudspeakers[s]
    own = room.owner_number(loudspeaker.body)
    source, ear = np.array(loudspeaker.driver_points[d]), np.array(stage.ears[place])
    direct = float(np.linalg.norm(ear - source))
    mirrors = [f for f, facet in enumerate(room.facets) if facet.area_m2 >= SMALLEST_MIRROR_M2]
    turns: list[tuple[tuple[int, ...], tuple[int, ...]]] = [((), ())]
    if order > 1 and len(mirrors) * len(wedges) <= MOST_MIRRORED_EDGES:
        allowed = first_mirrors(room, loudspeaker)
        turns += [((f,), ()) for f in mirrors if allowed[f]]
        turns += [((), (f,)) for f in mirrors]
    rows: list[_Row] = []
    dropped = 0
    ways = [(before, after, _edges(stage, job, before, after, wedges, bare, frequencies_hz)) for before, after in turns]
    radiation = radiation_of(stage, s, d, frequencies_hz)
    ways.append(((), (), frame_gains(stage, source, ear, own, frames, frequencies_hz, radiation)))
    for before, after, (found, gains) in ways:
        gains *= np.exp(2j * np.pi * frequencies_hz * found.length_m[:, None] / speed)
        keep = _worth(gains, frequencies_hz, direct)
        dropped += int((~keep).sum())
        b, a = (before or (NONE,))[0], (after or (NONE,))[0]
        places = _places(stage, source, ear, found, b, a)
        for i in np.flatnonzero(keep):
            owner = _owner(stage, int(found.edges[i]))
            way = (int(found.edges[i]), b, a, places[i], float(found.length_m[i]), gains[i])
            rows.append((s, d, place, owner, *way))
    for owner, body in bodies.items():
        if owner == own:
            continue
        chain = _chain(stage, job, owner, body, source, ear, frequencies_hz)
        length = length_over_two_edges(body, source, ear)
        gain = chain * np.exp(2j * np.pi * frequencies_hz * length / speed)
        if _worth(gain[None], frequencies_hz, direct)[0]:
            rows.append((s, d, place, owner, NONE, NONE, NONE, np.full((3, 3), np.nan), length, gain))
        else:
            dropped += 1
    return rows, dropped


def _owner(stage: Stage, edge: int) -> int:
    """Number of the body to which an edge belongs; a panel's is that of the surface it hangs on."""
    room, panel = stage.room, panel_of(stage, edge)
    if panel < 0:
        return int(room.arrays.owner[room.edges.facets[edge, 0]])
    return int(room.arrays.owner[room.facet_numbers(stage.panels[panel].surface)[0]])


def _edges(
    stage: Stage,
    job: tuple[int, int, int],
    before: tuple[int, ...],
    after: tuple[int, ...],
    wedges: dict[int, Wedge],
    bare: dict[int, FloatArray],
    frequencies_hz: FloatArray,
) -> tuple[EdgePaths, ComplexArray]:
    """Bend round single edges; also their gains (p, g), the faces beside them as soft as they are.

    With a mirror the way is followed to 8 kHz, where it fades out over a third.
    """
    s, d, place = job
    loudspeaker, speed = stage.loudspeakers[s], stage.air.speed_of_sound_m_s
    source, ear = np.array(loudspeaker.driver_points[d]), np.array(stage.ears[place])
    own, mirrored = stage.room.owner_number(loudspeaker.body), bool(before or after)
    low = frequencies_hz <= (MIRRORED_TO_HZ if mirrored else np.inf)
    some = frequencies_hz[low]
    found = edge_gains(
        stage.room,
        source,
        ear,
        own,
        some,
        speed,
        radiation_of(stage, s, d, some),
        before=before,
        after=after,
        edges=np.array(list(wedges), dtype=np.int64),
        wedges=wedges,
        bare=bare,
    )
    gains = np.zeros((len(found.edges), len(frequencies_hz)), dtype=np.complex128)
    if len(found.edges):
        ends = images(stage.room, source, before)[-1], images(stage.room, ear, after)[-1]
        pairs = stage.room.edges.facets[found.edges]
        weights = face_weights(stage, pairs, stacked([wedges[int(e)] for e in found.edges]), *ends, some)
        gains[:, low] = weighted(found.parts, weights)
    if mirrored:
        gains *= _fade(frequencies_hz, MIRRORED_TO_HZ)
    return found, gains


def _chain(
    stage: Stage,
    job: tuple[int, int, int],
    owner: int,
    body: ConvexBody,
    source: FloatArray,
    ear: FloatArray,
    frequencies_hz: FloatArray,
) -> ComplexArray:
    """What two and three edges of a body in turn add (g,), up to its highest frequency."""
    s, d, _ = job
    own = stage.room.owner_number(stage.loudspeakers[s].body)
    seen = seen_fractions(stage.room, owner, body, source, ear, own)
    chain = np.zeros(len(frequencies_hz), dtype=np.complex128)
    heard = _driven(stage, job, body, source, frequencies_hz) & (frequencies_hz <= CHAIN_TO_HZ)
    if seen.max(axis=1).min() > 0.0 and heard.any():
        some = frequencies_hz[heard]
        wavenumbers = 2.0 * np.pi * some / stage.air.speed_of_sound_m_s
        weights = np.stack([seen[0], np.ones(len(seen[0])), seen[1]])
        radiation = radiation_of(stage, s, d, some)
        chain[heard] = body_pressure(body, source, ear, wavenumbers, 3, radiation, weights)[2:].sum(axis=0)
    return chain * _fade(frequencies_hz, CHAIN_TO_HZ)


def _driven(
    stage: Stage, job: tuple[int, int, int], body: ConvexBody, source: FloatArray, frequencies_hz: FloatArray
) -> BoolArray:
    """Whether (g,) the driver radiates toward the middles of the body's edges, 40 dB under its most or more."""
    middles = body.wedges[0] + 0.5 * body.wedges[4][:, None] * body.wedges[1]
    ways = (middles - source) / np.linalg.norm(middles - source, axis=1)[:, None]
    most = np.abs(radiation_of(stage, job[0], job[1], frequencies_hz)(ways)).max(axis=0)
    return np.asarray(most > most.max() * 10.0 ** (SILENT_DB / 20.0))


def _fade(frequencies_hz: FloatArray, highest_hz: float) -> FloatArray:
    """Weights (g,): 1, falling to 0 over the third of an octave below `highest_hz`, 0 above."""
    fraction = np.clip(np.log2(highest_hz / frequencies_hz) * 3.0, 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * fraction) ** 2)


def radiation_of(stage: Stage, s: int, d: int, frequencies_hz: FloatArray) -> Radiation:
    """Return what driver d of loudspeaker s radiates toward ways (n, 3): pressures (n, g), 1 on the axis at 1 m."""
    loudspeaker, speed = stage.loudspeakers[s], stage.air.speed_of_sound_m_s

    def toward(ways: FloatArray) -> ComplexArray:
        return loudspeaker.model.driver_radiation(d, loudspeaker.to_box(ways), frequencies_hz, speed)

    return toward


def _worth(gains: ComplexArray, frequencies_hz: FloatArray, direct_m: float) -> BoolArray:
    """Whether (q,) ways come within 50 dB of the direct sound of an even loudspeaker in any octave that is listened to.

    A mean over an octave is taken as a running mean over 24 points of the grid.
    """
    heard = (frequencies_hz >= LISTENED_HZ[0]) & (frequencies_hz <= LISTENED_HZ[1])
    energy = np.abs(gains[:, heard] * direct_m) ** 2
    sums = np.cumsum(np.pad(energy, ((0, 0), (1, 0))), axis=1)
    width = min(24, energy.shape[1])
    means = (sums[:, width:] - sums[:, :-width]) / width
    return np.asarray(10.0 * np.log10(np.maximum(means.max(axis=1, initial=0.0), 1e-30)) > FLOOR_DB)


def _places(stage: Stage, source: FloatArray, ear: FloatArray, found: EdgePaths, before: int, after: int) -> FloatArray:
    """Places (q, 3, 3) along each way: mirror before, edge, mirror after; nan where there is none."""
    places = np.full((len(found.edges), 3, 3), np.nan)
    places[:, 1] = found.points
    for column, end, f in ((0, source, before), (2, ear, after)):
        if f >= 0:
            facet = stage.room.facets[f]
            height = float(facet.normal @ end) - facet.offset_m
            other = found.points @ facet.normal - facet.offset_m
            image = end - 2.0 * height * facet.normal
            places[:, column] = image + (height / np.maximum(height + other, 1e-12))[:, None] * (found.points - image)
    return places


def _table(rows: list[_Row], frequencies_hz: FloatArray, left_out: int) -> EdgePathTable:
    def numbers(k: int) -> IntArray:
        return frozen(np.array([row[k] for row in rows], dtype=np.int64))

    return EdgePathTable(
        loudspeaker=numbers(0),
        driver=numbers(1),
        listener=numbers(2),
        owner=numbers(3),
        edge=numbers(4),
        before=numbers(5),
        after=numbers(6),
        points=frozen(np.array([row[7] for row in rows], dtype=np.float64).reshape(-1, 3, 3)),
        length_m=frozen(np.array([row[8] for row in rows], dtype=np.float64)),
        frequencies_hz=frozen(frequencies_hz),
        gains=frozen(np.array([row[9] for row in rows], dtype=np.complex128).reshape(-1, len(frequencies_hz))),
        left_out=left_out,
    )


def no_edge_paths() -> EdgePathTable:
    """An empty table, for a stage whose edges are left out."""
    return _table([], edge_frequencies(), 0)
