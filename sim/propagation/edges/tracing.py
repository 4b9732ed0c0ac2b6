"""Edge diffraction, for every driver and listener: single edges, with a mirror before or after, and chains.

Single edges come from every bare edge and the frames of panels (`panel_frames`), as open as they are (`openness`); one
mirror before or after from every surface large enough to matter, and both from the surface a body stands on; chains of
two and three edges from every convex body (`chains`), with a mirror from those that stand on it or near.
Gains are kept on one grid of frequencies with the phase of the shortest way taken off, and interpolated where they are
wanted.

Left out, never silently: mirrors smaller than 0.3 m2, and all mirrors in rooms of very many edges; ways that stay 50 dB
under the direct sound in every octave from 125 Hz to 8 kHz (`EdgePathTable.left_out` counts them); chains with other
mirrors, and from one body to another.  A chain that another body hides in part has the fraction of its first and last
edge that are seen.  Faces beside single edges reflect what their material does; chains are those of rigid bodies.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Literal, NamedTuple, TypeAlias

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.machine.processes import all_cores
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.chains import MOST_IN_TURN, chain_gain, fade_below, radiation_of
from sim.propagation.edges.diffracting import SMALLEST_MIRROR_M2, Diffracting, diffracting
from sim.propagation.edges.panel_frames import frame_gains, panel_of
from sim.propagation.edges.single import Drives, EdgePaths, edge_gains, images
from sim.propagation.edges.soft_faces import face_weights, weighted
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.edges.wedges import stacked
from sim.propagation.mirrors.image_sources import first_mirrors

FLOOR_DB = -50.0
LISTENED_HZ = (88.0, 11_300.0)
NONE = -1
MOST_MIRRORED_EDGES = 20_000
"""In rooms with more pairs of edge and mirror than this (scans), edges are bent without mirrors."""
MIRRORED_TO_HZ = 8000.0
CHAINED_DB = -20.0
"""Two edges and a mirror are summed where the body's two edges without it, or a single edge with it, are above this."""


Depth: TypeAlias = Literal["single", "mirrored", "full"]
"""How much is traced: single edges; those with mirrors before and after them too; edges in turn as well."""


class EdgesStoppedError(Exception):
    """The tracing of edges was asked to stop; nothing of it is kept."""


def never() -> bool:
    """Never ask to stop."""
    return False


def edge_frequencies() -> FloatArray:
    """Grid in Hz (g,): 24 to the octave, but never wider than 75 Hz between 2.6 and 10 kHz.

    Corners of an edge lie up to 3 ms behind its apex; a step of 75 Hz still samples that wiggle four times a turn.
    """
    low = np.geomspace(20.0, 2600.0, 170)
    middle = np.arange(2675.0, 10_000.0, 75.0)
    return np.concatenate([low, middle, np.geomspace(10_000.0, 22_050.0, 28)])


class _Plan(NamedTuple):
    """Whether edges have mirrors before and after them, and how many edges of a body come in turn."""

    mirrored: bool
    in_turn: int


_Row: TypeAlias = tuple[int, int, int, int, int, int, int, FloatArray, float, ComplexArray]


def trace_edges(
    built: BuiltScene,
    order: int = 2,
    *,
    in_turn: int = MOST_IN_TURN,
    depth: Depth = "full",
    stop: Callable[[], bool] = never,
) -> EdgePathTable:
    """Diffract sound at the edges of the built scene, from every driver to every listener; order 1 leaves mirrors out.

    in_turn: most edges of one body in a chain, 1 to 3; 2 for trials among many layouts (what it leaves out, in dB:
    `docs/explanation/edges.md`).  depth: as `Depth` says; each has all rows of the one before it, to the last bit.
    stop: asked now and then (a few hundred times a second on each thread, from several at once), whether to stop.
    Drivers are shared out among threads (the kernels let go of the interpreter); each is worked on by one thread alone
    and rows keep their order, so the result does not depend on how many there are.
    """
    frequencies = edge_frequencies()
    found = diffracting(built)
    plan = _Plan(order > 1 and depth != "single", in_turn if depth == "full" else 1)
    jobs = [
        (s, d, place)
        for s, loudspeaker in enumerate(built.loudspeakers)
        for d in range(len(loudspeaker.driver_points))
        for place in range(len(built.ears))
    ]
    with ThreadPoolExecutor(max_workers=all_cores()) as pool:
        done = list(pool.map(lambda job: _from_driver(built, job, found, frequencies, plan, stop), jobs))
    rows = [row for some, _ in done for row in some]
    return _table(rows, frequencies, sum(dropped for _, dropped in done))


def _from_driver(
    built: BuiltScene,
    job: tuple[int, int, int],
    things: Diffracting,
    frequencies_hz: FloatArray,
    plan: _Plan,
    stop: Callable[[], bool],
) -> tuple[list[_Row], int]:
    """All ways from one driver to one listener (loudspeaker, driver, listener), and how many were dropped."""
    s, d, place = job
    room, speed, loudspeaker = built.room, built.air.speed_of_sound_m_s, built.loudspeakers[s]
    own = room.owner_number(loudspeaker.body)
    source, ear = np.array(loudspeaker.driver_points[d]), np.array(built.ears[place])
    direct = float(np.linalg.norm(ear - source))
    mirrors = [f for f, facet in enumerate(room.facets) if facet.area_m2 >= SMALLEST_MIRROR_M2]
    turns: list[tuple[tuple[int, ...], tuple[int, ...]]] = [((), ())]
    allowed = first_mirrors(room, loudspeaker)
    if plan.mirrored and len(mirrors) * len(things.wedges) <= MOST_MIRRORED_EDGES:
        turns += [((f,), ()) for f in mirrors if allowed[f]]
        turns += [((), (f,)) for f in mirrors]
        turns += [((f,), (f,)) for f in things.standing if allowed[f]]
    rows: list[_Row] = []
    drives: Drives = {}
    chains: list[tuple[int, tuple[int, ...], tuple[int, ...]]] = [
        (o, (), ()) for o in things.bodies if o != own and plan.in_turn > 1
    ]
    loud: set[tuple[int, int]] = set()
    dropped = 0
    ways = []
    for before, after in turns:
        _go_on_unless(stop)
        ways.append((before, after, _edges(built, job, before, after, things, frequencies_hz, drives)))
    radiation = radiation_of(built, s, d, frequencies_hz)
    ways.append(((), (), frame_gains(built, source, ear, own, things.frames, frequencies_hz, radiation)))
    for before, after, (found, gains) in ways:
        gains *= np.exp(2j * np.pi * frequencies_hz * found.length_m[:, None] / speed)
        levels = _loudest_db(gains, frequencies_hz, direct)
        keep = levels > FLOOR_DB
        dropped += int((~keep).sum())
        b, a = (before or (NONE,))[0], (after or (NONE,))[0]
        places = _places(built, source, ear, found, b, a)
        for i in np.flatnonzero(keep):
            owner = _owner(built, int(found.edges[i]))
            way = (int(found.edges[i]), b, a, places[i], float(found.length_m[i]), gains[i])
            rows.append((s, d, place, owner, *way))
        loud |= {(_owner(built, int(edge)), max(b, a)) for edge in found.edges[levels > CHAINED_DB]}
    for owner, before, after in chains:
        _go_on_unless(stop)
        gain, length, places = chain_gain(built, job, owner, (before, after), things, frequencies_hz, plan.in_turn)
        level = float(_loudest_db(gain[None], frequencies_hz, direct)[0])
        b, a = (before or (NONE,))[0], (after or (NONE,))[0]
        if max(b, a) < 0:
            mirrored = [f for f, (_, near) in things.standing.items() if owner in near and plan.mirrored]
            mirrored = [f for f in mirrored if level > CHAINED_DB or (owner, f) in loud]
            chains += [(owner, (f,), last) for f in mirrored if allowed[f] for last in ((), (f,))]
            chains += [(owner, (), (f,)) for f in mirrored]
        if level > FLOOR_DB:
            rows.append((s, d, place, owner, NONE, b, a, places, length, gain))
        else:
            dropped += 1
    return rows, dropped


def _go_on_unless(stop: Callable[[], bool]) -> None:
    if stop():
        raise EdgesStoppedError


def _owner(built: BuiltScene, edge: int) -> int:
    """Number of the body to which an edge belongs; a panel's is that of the surface it hangs on."""
    room, panel = built.room, panel_of(built, edge)
    if panel < 0:
        return int(room.arrays.owner[room.edges.facets[edge, 0]])
    return int(room.arrays.owner[room.facet_numbers(built.panels[panel].surface)[0]])


def _edges(
    built: BuiltScene,
    job: tuple[int, int, int],
    before: tuple[int, ...],
    after: tuple[int, ...],
    things: Diffracting,
    frequencies_hz: FloatArray,
    drives: Drives,
) -> tuple[EdgePaths, ComplexArray]:
    """Bend round single edges; also their gains (p, g), the faces beside them as soft as they are.

    With a mirror before and after, only edges of what stands on it.  With a mirror the way is followed
    to 8 kHz, where it fades out over a third.
    """
    s, d, place = job
    loudspeaker, speed = built.loudspeakers[s], built.air.speed_of_sound_m_s
    source, ear = np.array(loudspeaker.driver_points[d]), np.array(built.ears[place])
    own, mirrored = built.room.owner_number(loudspeaker.body), bool(before or after)
    low = frequencies_hz <= (MIRRORED_TO_HZ if mirrored else np.inf)
    some, wedges = frequencies_hz[low], things.wedges
    if before and after:
        wedges = things.standing[before[0]][0]
    found = edge_gains(
        built.room,
        source,
        ear,
        own,
        some,
        speed,
        radiation_of(built, s, d, some),
        before=before,
        after=after,
        wedges=wedges,
        bare=things.bare,
        opened=things.opened,
        drives=drives,
    )
    gains = np.zeros((len(found.edges), len(frequencies_hz)), dtype=np.complex128)
    if len(found.edges):
        ends = images(built.room, source, before)[-1], images(built.room, ear, after)[-1]
        pairs = built.room.edges.facets[found.edges]
        weights = face_weights(built, pairs, stacked([wedges[int(e)] for e in found.edges]), *ends, some)
        gains[:, low] = weighted(found.parts, weights)
    if mirrored:
        gains *= fade_below(frequencies_hz, MIRRORED_TO_HZ)
    return found, gains


def _loudest_db(gains: ComplexArray, frequencies_hz: FloatArray, direct_m: float) -> FloatArray:
    """Level (q,) of paths in the loudest octave that is listened to, re the direct sound of an even loudspeaker.

    A mean over an octave is taken as a running mean over 24 points of the grid.
    """
    heard = (frequencies_hz >= LISTENED_HZ[0]) & (frequencies_hz <= LISTENED_HZ[1])
    energy = np.abs(gains[:, heard] * direct_m) ** 2
    sums = np.cumsum(np.pad(energy, ((0, 0), (1, 0))), axis=1)
    width = min(24, energy.shape[1])
    means = (sums[:, width:] - sums[:, :-width]) / width
    return np.asarray(10.0 * np.log10(np.maximum(means.max(axis=1, initial=0.0), 1e-30)))


def _places(
    built: BuiltScene, source: FloatArray, ear: FloatArray, found: EdgePaths, before: int, after: int
) -> FloatArray:
    """Places (q, 3, 3) along each way: mirror before, edge, mirror after; nan where there is none."""
    places = np.full((len(found.edges), 3, 3), np.nan)
    places[:, 1] = found.points
    for column, end, f in ((0, source, before), (2, ear, after)):
        if f >= 0:
            facet = built.room.facets[f]
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
    """An empty table, for a built scene whose edges are left out."""
    return _table([], edge_frequencies(), 0)
