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

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any, Literal, NamedTuple, TypeAlias, TypeVar

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.machine.processes import all_cores
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.chain_twins import twins
from sim.propagation.edges.chains import MOST_IN_TURN, ChainWork, chain_work, fade_below, radiation_of
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
_Mirrors: TypeAlias = tuple[tuple[int, ...], tuple[int, ...]]


class _Found(NamedTuple):
    """Rows of one way with its mirrors, how many were dropped, and (body, mirror) of those that are loud."""

    rows: list[_Row]
    dropped: int
    loud: set[tuple[int, int]]


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
    Drivers, mirrors and sums of chains are shared out among threads (the kernels let go of the interpreter); each is
    worked on by one thread alone and rows keep their order, so the result does not depend on how many there are.
    """
    frequencies = edge_frequencies()
    found = diffracting(built)
    plan = _Plan(order > 1 and depth != "single", in_turn if depth == "full" else 1)
    drivers = [
        _Driver(built, (s, d, place), found, frequencies, plan)
        for s, loudspeaker in enumerate(built.loudspeakers)
        for d in range(len(loudspeaker.driver_points))
        for place in range(len(built.ears))
    ]
    with ThreadPoolExecutor(max_workers=all_cores()) as pool:

        def shared(works: Iterable[Callable[[], _Result]]) -> list[_Result]:
            def work(one: Callable[[], _Result]) -> _Result:
                _go_on_unless(stop)
                return one()

            return list(pool.map(work, works))

        firsts = shared(one.without_mirrors for one in drivers)
        bodies: list[tuple[int, _Chain]] = [
            (n, (owner, (), ())) for n, one in enumerate(drivers) for owner in one.bodies()
        ]
        chains = _chains(drivers, bodies, shared)
        turns = [(n, turn) for n, one in enumerate(drivers) for turn in one.turns()]
        mirrored = shared(partial(drivers[n].way, *turn) for n, turn in turns)
        for n, one in enumerate(drivers):
            one.found = [firsts[n][0], *(way for (m, _), way in zip(turns, mirrored, strict=True) if m == n)]
            one.found.append(firsts[n][1])
        over = [
            (n, chain)
            for (n, (owner, _, _)), (_, level, _) in zip(bodies, chains, strict=True)
            for chain in drivers[n].mirrored_chains(owner, level)
        ]
        chains += _chains(drivers, over, shared)
    for (n, _), (row, _, kept) in zip([*bodies, *over], chains, strict=True):
        drivers[n].found.append(_Found([row] if kept else [], 0 if kept else 1, set()))
    rows = [row for one in drivers for way in one.found for row in way.rows]
    return _table(rows, frequencies, sum(way.dropped for one in drivers for way in one.found))


_Chain: TypeAlias = tuple[int, tuple[int, ...], tuple[int, ...]]
_Result = TypeVar("_Result")


def _chains(
    drivers: list[_Driver],
    chains: list[tuple[int, _Chain]],
    shared: Callable[[Iterable[Callable[[], Any]]], list[Any]],
) -> list[tuple[_Row, float, bool]]:
    """Rows of chains (driver, (owner, before, after)), their levels in dB, and whether they count.

    Chains that are mirror images of others are summed once; large sums begin first.
    """
    works: list[ChainWork] = shared(partial(drivers[n].chain, chain) for n, chain in chains)
    same = twins(works)
    pieces = [(n, m) for n, work in enumerate(works) if same[n] == n for m in range(len(work.sums))]
    pieces.sort(key=lambda piece: -works[piece[0]].sums[piece[1]].size)
    pressures = dict(zip(pieces, shared(works[n].sums[m].pressure for n, m in pieces), strict=True))
    return [
        drivers[n].chained(chain, work, [pressures[twin, m] for m in range(len(work.sums))])
        for (n, chain), work, twin in zip(chains, works, same, strict=True)
    ]


class _Driver:
    """Sound from one driver to one listener (loudspeaker, driver, listener): what threads can work on apart.

    found: what came out, in the order of rows.
    """

    def __init__(
        self,
        built: BuiltScene,
        job: tuple[int, int, int],
        things: Diffracting,
        frequencies_hz: FloatArray,
        plan: _Plan,
    ) -> None:
        s, d, place = job
        self.built, self.job, self.things, self.frequencies_hz, self.plan = built, job, things, frequencies_hz, plan
        loudspeaker = built.loudspeakers[s]
        self.own = built.room.owner_number(loudspeaker.body)
        self.source, self.ear = np.array(loudspeaker.driver_points[d]), np.array(built.ears[place])
        self.direct_m = float(np.linalg.norm(self.ear - self.source))
        self.allowed = first_mirrors(built.room, loudspeaker)
        self.drives: Drives = {}
        self.found: list[_Found] = []

    def turns(self) -> list[_Mirrors]:
        """Mirrors before and after single edges, without those that have none."""
        room, things, allowed = self.built.room, self.things, self.allowed
        mirrors = [f for f, facet in enumerate(room.facets) if facet.area_m2 >= SMALLEST_MIRROR_M2]
        if not self.plan.mirrored or len(mirrors) * len(things.wedges) > MOST_MIRRORED_EDGES:
            return []
        turns: list[_Mirrors] = [((f,), ()) for f in mirrors if allowed[f]]
        turns += [((), (f,)) for f in mirrors]
        return turns + [((f,), (f,)) for f in things.standing if allowed[f]]

    def without_mirrors(self) -> tuple[_Found, _Found]:
        """Single edges, and the frames of panels; what the driver radiates toward the edges is kept for the others."""
        s, d, _ = self.job
        edges = self._kept((), (), *_edges(self.built, self.job, (), (), self.things, self.frequencies_hz, self.drives))
        radiation = radiation_of(self.built, s, d, self.frequencies_hz)
        frames = frame_gains(
            self.built, self.source, self.ear, self.own, self.things.frames, self.frequencies_hz, radiation
        )
        return edges, self._kept((), (), *frames)

    def way(self, before: tuple[int, ...], after: tuple[int, ...]) -> _Found:
        """Single edges with mirrors; what others have found meanwhile is not asked, so that it does not matter."""
        drives = dict(self.drives)
        return self._kept(
            before, after, *_edges(self.built, self.job, before, after, self.things, self.frequencies_hz, drives)
        )

    def _kept(self, before: tuple[int, ...], after: tuple[int, ...], found: EdgePaths, gains: ComplexArray) -> _Found:
        s, d, place = self.job
        frequencies, speed = self.frequencies_hz, self.built.air.speed_of_sound_m_s
        if not len(found.edges):
            return _Found([], 0, set())
        gains *= np.exp(2j * np.pi * frequencies * found.length_m[:, None] / speed)
        levels = _loudest_db(gains, frequencies, self.direct_m)
        keep = levels > FLOOR_DB
        b, a = (before or (NONE,))[0], (after or (NONE,))[0]
        places = _places(self.built, self.source, self.ear, found, b, a)
        rows: list[_Row] = []
        for i in np.flatnonzero(keep):
            owner = _owner(self.built, int(found.edges[i]))
            way = (int(found.edges[i]), b, a, places[i], float(found.length_m[i]), gains[i])
            rows.append((s, d, place, owner, *way))
        loud = {(_owner(self.built, int(edge)), max(b, a)) for edge in found.edges[levels > CHAINED_DB]}
        return _Found(rows, int((~keep).sum()), loud)

    def bodies(self) -> list[int]:
        """Bodies round which sound goes more than once."""
        return [owner for owner in self.things.bodies if owner != self.own and self.plan.in_turn > 1]

    def chain(self, chain: _Chain) -> ChainWork:
        """What the chains of a body with mirrors take."""
        owner, *mirrors = chain
        before, after = mirrors
        return chain_work(
            self.built, self.job, owner, (before, after), self.things, self.frequencies_hz, self.plan.in_turn
        )

    def chained(self, chain: _Chain, work: ChainWork, pressures: list[ComplexArray]) -> tuple[_Row, float, bool]:
        """The row of a chain, its level in dB re direct, and whether it counts."""
        owner, before, after = chain
        gain = work.gain(pressures)
        level = float(_loudest_db(gain[None], self.frequencies_hz, self.direct_m)[0])
        b, a = (before or (NONE,))[0], (after or (NONE,))[0]
        return (*self.job, owner, NONE, b, a, work.places, work.length_m, gain), level, level > FLOOR_DB

    def mirrored_chains(self, owner: int, level_db: float) -> list[_Chain]:
        """Chains of a body with mirrors that are worth it, its level without mirrors known."""
        loud = set().union(*(way.loud for way in self.found))
        mirrored = [f for f, (_, near) in self.things.standing.items() if owner in near and self.plan.mirrored]
        mirrored = [f for f in mirrored if level_db > CHAINED_DB or (owner, f) in loud]
        chains: list[_Chain] = [(owner, (f,), last) for f in mirrored if self.allowed[f] for last in ((), (f,))]
        return chains + [(owner, (), (f,)) for f in mirrored]


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
