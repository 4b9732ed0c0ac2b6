"""Edge diffraction from one driver to one listener: single edges, with a mirror before or after, frames, and chains.

Each method is a piece of work that threads can do apart from the others; `tracing` says in which order.
"""

from __future__ import annotations

from typing import NamedTuple, TypeAlias

import numpy as np

from sim.acoustics.bands import fade_below
from sim.arrays import ComplexArray, FloatArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.chains import ChainWork, chain_work, radiation_of
from sim.propagation.edges.diffracting import SMALLEST_MIRROR_M2, Diffracting, place_on_body
from sim.propagation.edges.kept_pieces import edges_again
from sim.propagation.edges.panel_frames import frame_gains, panel_of
from sim.propagation.edges.single import Drives, EdgePaths, edge_gains, images
from sim.propagation.edges.small_faces import small_face_weights
from sim.propagation.edges.soft_faces import weighted, weights_and_angles
from sim.propagation.edges.wedges import stacked
from sim.propagation.mirrors.image_sources import first_mirrors
from sim.propagation.surfaces.two_finite_mirrors import MIRRORED_TO_HZ

FLOOR_DB = -50.0
LISTENED_HZ = (88.0, 11_300.0)
NONE = -1
MOST_MIRRORED_EDGES = 20_000
"""In rooms with more pairs of edge and mirror than this (scans), sound is diffracted without mirrors."""
CHAINED_DB = -20.0
"""Two edges and a mirror are summed where the body's two edges without it, or a single edge with it, are above this."""


class Plan(NamedTuple):
    """Whether edges have mirrors before and after them, and how many edges of a body come in turn."""

    mirrored: bool
    in_turn: int


Row: TypeAlias = tuple[int, int, int, int, int, int, int, FloatArray, float, ComplexArray]
Mirrors: TypeAlias = tuple[tuple[int, ...], tuple[int, ...]]
Chain: TypeAlias = tuple[int, tuple[int, ...], tuple[int, ...]]
"""Owner of a body, and the mirrors before and after."""


class Found(NamedTuple):
    """Rows of one way with its mirrors, how many were dropped, and (body, mirror) of those that are loud."""

    rows: list[Row]
    dropped: int
    loud: set[tuple[int, int]]


class DriverToEar:
    """Sound from one driver to one listener (loudspeaker, driver, listener): what threads can work on apart.

    found: what came out, in the order of rows.
    """

    def __init__(
        self,
        built: BuiltScene,
        job: tuple[int, int, int],
        things: Diffracting,
        frequencies_hz: FloatArray,
        plan: Plan,
    ) -> None:
        s, d, place = job
        self.built, self.job, self.things, self.frequencies_hz, self.plan = built, job, things, frequencies_hz, plan
        loudspeaker = built.loudspeakers[s]
        self.own = built.room.owner_number(loudspeaker.body)
        self.source, self.ear = np.array(loudspeaker.driver_points[d]), np.array(built.ears[place])
        self.direct_m = float(np.linalg.norm(self.ear - self.source))
        self.allowed = first_mirrors(built.room, loudspeaker)
        self.drives: Drives = {}
        self.found: list[Found] = []

    def turns(self) -> list[Mirrors]:
        """Mirrors before and after single edges, without those that have none."""
        room, things, allowed = self.built.room, self.things, self.allowed
        mirrors = [f for f, facet in enumerate(room.facets) if facet.area_m2 >= SMALLEST_MIRROR_M2]
        if not self.plan.mirrored or len(mirrors) * len(things.wedges) > MOST_MIRRORED_EDGES:
            return []
        turns: list[Mirrors] = [((f,), ()) for f in mirrors if allowed[f]]
        turns += [((), (f,)) for f in mirrors]
        return turns + [((f,), (f,)) for f in things.standing if allowed[f]]

    def without_mirrors(self) -> tuple[Found, Found]:
        """Single edges, and the frames of panels; what the driver radiates toward the edges is kept for the others."""
        s, d, _ = self.job
        edges = self._kept((), (), *_edges(self.built, self.job, (), (), self.things, self.frequencies_hz, self.drives))
        radiation = radiation_of(self.built, s, d, self.frequencies_hz)
        frames = frame_gains(
            self.built, self.source, self.ear, self.own, self.things.frames, self.frequencies_hz, radiation
        )
        return edges, self._kept((), (), *frames)

    def way(self, before: tuple[int, ...], after: tuple[int, ...]) -> Found:
        """Single edges with mirrors; what others have found meanwhile is not asked, so that it does not matter."""
        drives = dict(self.drives)
        return self._kept(
            before, after, *_edges(self.built, self.job, before, after, self.things, self.frequencies_hz, drives)
        )

    def _kept(self, before: tuple[int, ...], after: tuple[int, ...], found: EdgePaths, gains: ComplexArray) -> Found:
        s, d, place = self.job
        frequencies, speed = self.frequencies_hz, self.built.air.speed_of_sound_m_s
        if not len(found.edges):
            return Found([], 0, set())
        gains *= np.exp(2j * np.pi * frequencies * found.length_m[:, None] / speed)
        levels = _loudest_db(gains, frequencies, self.direct_m)
        keep = levels > FLOOR_DB
        b, a = (before or (NONE,))[0], (after or (NONE,))[0]
        places = _places(self.built, self.source, self.ear, found, b, a)
        rows: list[Row] = []
        for i in np.flatnonzero(keep):
            owner = _owner(self.built, int(found.edges[i]))
            way = (int(found.edges[i]), b, a, places[i], float(found.length_m[i]), gains[i])
            rows.append((s, d, place, owner, *way))
        loud = {(_owner(self.built, int(edge)), max(b, a)) for edge in found.edges[levels > CHAINED_DB]}
        return Found(rows, int((~keep).sum()), loud)

    def bodies(self) -> list[int]:
        """Bodies round which sound goes more than once."""
        return [owner for owner in self.things.bodies if owner != self.own and self.plan.in_turn > 1]

    def chain(self, chain: Chain) -> ChainWork:
        """What the chains of a body with mirrors take."""
        owner, *mirrors = chain
        before, after = mirrors
        return chain_work(
            self.built, self.job, owner, (before, after), self.things, self.frequencies_hz, self.plan.in_turn
        )

    def chained(self, chain: Chain, work: ChainWork, pressures: list[ComplexArray]) -> tuple[Row, float, bool]:
        """The row of a chain, its level in dB re direct, and whether it counts."""
        owner, before, after = chain
        gain = work.gain(pressures)
        if work.sums:
            gain = gain - self._less_of_single(chain, work)
        level = float(_loudest_db(gain[None], self.frequencies_hz, self.direct_m)[0])
        b, a = (before or (NONE,))[0], (after or (NONE,))[0]
        return (*self.job, owner, NONE, b, a, work.places, work.length_m, gain), level, level > FLOOR_DB

    def _less_of_single(self, chain: Chain, work: ChainWork) -> ComplexArray:
        """What (g,) of the single edges found goes with chains over them, the phase of the chain's path off."""
        owner, *mirrors = chain
        b, a = ((one or (NONE,))[0] for one in mirrors)
        less, taken = work.less_of_single(), np.zeros(len(self.frequencies_hz), dtype=np.complex128)
        if less.max() == 0.0:
            return taken
        room, speed = self.built.room, self.built.air.speed_of_sound_m_s
        for row in (row for way in self.found for row in way.rows if row[3] == owner and row[5:7] == (b, a)):
            place = place_on_body(room, row[4], work.body) if row[4] < len(room.edges.ends) else NONE
            if place >= 0:
                turned = np.exp(-2j * np.pi * self.frequencies_hz * (row[8] - work.length_m) / speed)
                taken += less[place] * row[9] * turned
        return taken

    def mirrored_chains(self, owner: int, level_db: float) -> list[Chain]:
        """Chains of a body with mirrors that are worth it, its level without mirrors known."""
        loud = set().union(*(way.loud for way in self.found))
        mirrored = [f for f, (_, near) in self.things.standing.items() if owner in near and self.plan.mirrored]
        mirrored = [f for f in mirrored if level_db > CHAINED_DB or (owner, f) in loud]
        chains: list[Chain] = [(owner, (f,), last) for f in mirrored if self.allowed[f] for last in ((), (f,))]
        return chains + [(owner, (), (f,)) for f in mirrored]


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
    """Diffract at single edges; also their gains (p, g), the faces beside them as soft as they are.

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

    def make() -> tuple[EdgePaths, Drives]:
        filled = dict(drives)
        edges = edge_gains(
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
            drives=filled,
        )
        return edges, {} if mirrored else filled

    found, filled = edges_again(built, job, (before, after, some), make)
    drives.update(filled)
    gains = np.zeros((len(found.edges), len(frequencies_hz)), dtype=np.complex128)
    if len(found.edges):
        ends = images(built.room, source, before)[-1], images(built.room, ear, after)[-1]
        pairs = built.room.edges.facets[found.edges]
        some_wedges = stacked([wedges[int(e)] for e in found.edges])
        weights, *angles = weights_and_angles(built, pairs, some_wedges, *ends, some)
        if len(before) + len(after) == 1:
            b, a = ((one or (NONE,))[0] for one in (before, after))
            column, end = (0, source) if before else (2, ear)
            met = _places(built, source, ear, found, b, a)[:, column], end, found.length_m
            weights *= small_face_weights(built, pairs, (angles[0], angles[1]), max(b, a), *met, some)
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
