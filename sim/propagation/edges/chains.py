"""Chains: sound that goes round two or three edges of a body in turn, a mirror before, after or both.

Work is cut in three: what has to be summed (`chain_work`), the sums, which threads can share, and what they make
(`ChainWork.gain`).  Where the grid of frequencies is finer than the sums need, they are worked out at fewer of them
and read in between (`fewer_samples`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sim.acoustics.bands import fade_below
from sim.arrays import BoolArray, ComplexArray, FloatArray, frozen
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.bare import images, seen_fractions, shortest_over_two_edges
from sim.propagation.edges.convex import ConvexBody, rim_fade
from sim.propagation.edges.diffracting import Diffracting
from sim.propagation.edges.merged import alone
from sim.propagation.edges.plates import ChainSum, Radiation, chain_sums, edge_drive

CHAIN_TO_HZ, THIRD_EDGE_TO_HZ, MIRRORED_CHAIN_TO_HZ = 11_300.0, 5600.0, 4000.0
"""Chains are followed over the octave of 8 kHz and fade out over its upper third; of three edges over that of 4 kHz;
with a mirror to 4 kHz.  At high frequencies the third edge adds next to nothing (`docs/explanation/edges.md`)."""
MOST_IN_TURN = 3
SILENT_DB = -40.0
"""A driver that radiates less than this toward the edges of a body, re its most at any frequency, starts no chains."""
STEPS_IN_A_TURN = 10.0
"""Samples for each turn of the phase over the body's longest diagonal."""
WIDEST_STEP_HZ, LOW_SHARE = 50.0, 0.15
"""No step is wider, nor wider than this share of the frequency."""
NEIGHBOURS = 8
"""Samples through which one polynomial goes, from which a value between them is read."""


@dataclass(frozen=True, slots=True, eq=False)
class ChainWork:
    """Chains of a body between two ends, mirrors included, ready to be summed.

    Attributes
    ----------
    body
        Whose edges they are.
    source, ear
        (3,) the two ends, or their images.
    frequencies_hz, heard
        (g,) grid, and at which of it there is anything.
    asked_hz, weights
        (a,) frequencies at which it is summed, and (a, h) what each counts at those heard; no weights where they are
        the same.
    order, highest_hz
        Most edges in turn; where the chains have faded out.
    edge_weights, drive
        As `chain_sums` takes them.
    sums
        What is to be summed; nothing where nothing is heard.
    by_surface
        How many of them, the last ones, go by the surface the body stands on from one edge to the next.
    length_m, places
        Length of the shortest path, and (3, 3) places of its mirrors.
    speed_m_s
        Of sound.
    """

    body: ConvexBody
    source: FloatArray
    ear: FloatArray
    frequencies_hz: FloatArray
    heard: BoolArray
    asked_hz: FloatArray
    weights: FloatArray | None
    order: int
    highest_hz: float
    edge_weights: FloatArray
    drive: ComplexArray
    sums: tuple[ChainSum, ...]
    by_surface: int
    length_m: float
    places: FloatArray
    speed_m_s: float

    def gain(self, pressures: Sequence[ComplexArray]) -> ComplexArray:
        """What the chains add (g,), the phase of the shortest path taken off, from the pressure of each sum."""
        chain = np.zeros(len(self.frequencies_hz), dtype=np.complex128)
        if not self.sums:
            return chain
        parts = np.zeros((3, len(self.asked_hz)), dtype=np.complex128)
        for number, (one, pressure) in enumerate(zip(self.sums, pressures, strict=True), start=self.by_surface):
            if number < len(self.sums):
                parts[:2, one.group] += pressure
            else:
                parts[2, one.group] += pressure[0]
        heard_hz = self.frequencies_hz[self.heard]
        if self.weights is not None:  # read where the phase turns least: half a diagonal behind the shortest path
            delay_s = (self.length_m + 0.5 * diagonal_m(self.body)) / self.speed_m_s
            parts *= np.exp(2j * np.pi * self.asked_hz * delay_s)
            parts = (parts @ self.weights) * np.exp(-2j * np.pi * heard_hz * delay_s)
        third = parts[1] * fade_below(heard_hz, THIRD_EDGE_TO_HZ) if self.order >= 3 else 0.0
        mirrored = fade_below(heard_hz, MIRRORED_CHAIN_TO_HZ) if self.highest_hz > MIRRORED_CHAIN_TO_HZ else 1.0
        chain[self.heard] = parts[0] + third + parts[2] * mirrored
        turned = np.exp(2j * np.pi * self.frequencies_hz * self.length_m / self.speed_m_s)
        return np.asarray(chain * fade_below(self.frequencies_hz, self.highest_hz) * turned)

    def less_of_single(self) -> FloatArray:
        """How much (e, g) of single edges goes where chains of two, or they themselves, are the last order.

        Over a face that an end grazes, an edge at its far side comes into sight at once; a chain of one edge more makes
        up for each end that does, two more where both do.  Where these are not summed the edge goes as chains do.
        """
        two = fade_below(self.frequencies_hz, self.highest_hz)
        three = fade_below(self.frequencies_hz, THIRD_EDGE_TO_HZ) if self.order >= 3 else np.zeros_like(two)
        first, last = 1.0 - rim_fade(self.body, self.source), 1.0 - rim_fade(self.body, self.ear)
        both, either = (first * last)[:, None], (first + last - first * last)[:, None]
        return np.asarray(both * two * (1.0 - three) + either * (1.0 - two))


def chain_work(
    built: BuiltScene,
    job: tuple[int, int, int],
    owner: int,
    mirrors: tuple[tuple[int, ...], tuple[int, ...]],
    things: Diffracting,
    frequencies_hz: FloatArray,
    in_turn: int = MOST_IN_TURN,
) -> ChainWork:
    """What edges of a body in turn take to be summed, from a driver to a listener (loudspeaker, driver, listener).

    Two edges to the octave of 8 kHz, three, if `in_turn` says so, to that of 4 kHz; with a mirror before, after or
    both, two edges to 4 kHz.
    """
    s, d, place = job
    room, loudspeaker, speed = built.room, built.loudspeakers[s], built.air.speed_of_sound_m_s
    source, ear, own = np.array(loudspeaker.driver_points[d]), np.array(built.ears[place]), loudspeaker.body
    body, (before, after) = things.bodies[owner], mirrors
    start, end = images(room, source, before)[-1], images(room, ear, after)[-1]
    length, over = shortest_over_two_edges(body, start, end)
    places = np.full((3, 3), np.nan)
    for column, point, image, edge, f in ((0, source, start, over[0], before), (2, ear, end, over[1], after)):
        if f:
            normal, offset = room.arrays.normal[f[0]], room.arrays.offset[f[0]]
            far, high = abs(normal @ edge - offset), abs(normal @ point - offset)
            places[column] = image + (edge - image) * high / max(high + far, 1e-12)
    mirrored = bool(before or after)
    highest = MIRRORED_CHAIN_TO_HZ if mirrored else CHAIN_TO_HZ
    order = 2 if mirrored else in_turn
    turn = np.eye(3)
    for mirror in before:
        turn = turn - 2.0 * np.outer(room.arrays.normal[mirror], room.arrays.normal[mirror]) @ turn

    def radiation(hertz: FloatArray) -> Radiation:
        free = radiation_of(built, s, d, hertz)
        return lambda ways: free(ways @ turn)

    heard, asked, to_heard = np.zeros(len(frequencies_hz), dtype=np.bool_), np.zeros(0), None
    weights, drive, sums = np.zeros((3, 0)), np.zeros((0, 0, 0), dtype=np.complex128), list[ChainSum]()
    by_surface = 0
    if min(body.heights(start).max(), body.heights(end).max()) > 0.0:
        seen = seen_fractions(room, owner, body, source, ear, room.owner_number(own), before, after)
        if seen.max(axis=1).min() > 0.0:
            heard = _driven(radiation(frequencies_hz), body, start) & (frequencies_hz <= highest)
    if heard.any():
        open_ = things.weights[owner]
        first, last = open_ * seen[0], open_ * seen[1]
        whole = things.merged.get(owner) or alone(body)
        body = whole.body
        asked, to_heard = fewer_samples(frequencies_hz[heard], speed / (STEPS_IN_A_TURN * diagonal_m(body)))
        begin = body.lifted(start)
        drive = edge_drive(body, begin, radiation(asked), len(asked))
        wavenumbers, third_to = 2.0 * np.pi * asked / speed, 2.0 * np.pi * THIRD_EDGE_TO_HZ / speed
        for foot in range(-1, len(whole.feet)):  # the last edge on the body itself, then on each of its images
            ear_of, most = (end, order) if foot < 0 else (images(room, end, (whole.feet[foot].facet,))[-1], 2)
            weights = np.stack([whole.spread(first, -1), whole.spread(open_, -1), whole.spread(last, foot)])
            found = chain_sums(body, begin, body.lifted(ear_of), wavenumbers, most, drive, weights, third_to)
            by_surface += len(found) if foot >= 0 else 0
            sums += found
        weights = np.stack([whole.spread(first, -1), whole.spread(open_, -1), whole.spread(last, -1)])
    return ChainWork(
        body,
        start,
        end,
        frequencies_hz,
        heard,
        asked,
        to_heard,
        order,
        highest,
        weights,
        drive,
        tuple(sums),
        by_surface,
        length,
        places,
        speed,
    )


def chain_gain(
    built: BuiltScene,
    job: tuple[int, int, int],
    owner: int,
    mirrors: tuple[tuple[int, ...], tuple[int, ...]],
    things: Diffracting,
    frequencies_hz: FloatArray,
    in_turn: int = MOST_IN_TURN,
) -> tuple[ComplexArray, float, FloatArray]:
    """What edges of a body in turn add (g,), the phase of the shortest path off; its length, places of its mirrors."""
    work = chain_work(built, job, owner, mirrors, things, frequencies_hz, in_turn)
    return work.gain([one.pressure() for one in work.sums]), work.length_m, work.places


def fewer_samples(frequencies_hz: FloatArray, step_hz: float) -> tuple[FloatArray, FloatArray | None]:
    """Frequencies (a,) to work out in place of (f,), and weights (a, f) that lead back to these; None if all the same.

    What lies closer than a step is replaced by even steps, and below them by steps of `LOW_SHARE` of the frequency, as
    what drivers radiate changes over octaves there.  A polynomial goes through `NEIGHBOURS` of them.  Even ones come
    first: their waves follow from each other (`phase_kernels.find_steps`).
    """
    asked, weights = _fewer(frequencies_hz.tobytes(), step_hz)
    return (frequencies_hz, None) if weights is None else (asked.copy(), weights)


@lru_cache(maxsize=64)
def _fewer(packed: bytes, step_hz: float) -> tuple[FloatArray, FloatArray | None]:
    """The same for frequencies given as bytes: all chains of a body ask for it."""
    frequencies_hz = np.frombuffer(packed, dtype=np.float64)
    step = min(step_hz, WIDEST_STEP_HZ)
    close = np.diff(frequencies_hz, append=np.inf) < step
    close &= frequencies_hz <= THIRD_EDGE_TO_HZ  # where chains of three end, their sum jumps
    count = int(close.argmin())
    low, rest = frequencies_hz[:count], frequencies_hz[count:]
    if count == 0:
        return frequencies_hz, None
    turn = min(max(low[0], step / LOW_SHARE), low[-1])
    octaves = np.geomspace(low[0], turn, int(np.ceil(np.log(turn / low[0]) / np.log1p(LOW_SHARE))) + 1)[:-1]
    even = np.linspace(turn, low[-1], int(np.ceil((low[-1] - turn) / step)) + 1)
    nodes = np.concatenate([octaves, even])
    if not NEIGHBOURS <= len(nodes) < count:
        return frequencies_hz, None
    weights = np.zeros((len(nodes) + len(rest), len(frequencies_hz)))
    first = np.clip(np.searchsorted(nodes, low, side="right") - NEIGHBOURS // 2, 0, len(nodes) - NEIGHBOURS)
    near = nodes[first[:, None] + np.arange(NEIGHBOURS)]
    for a in range(NEIGHBOURS):
        others = np.delete(near, a, axis=1)
        shares = (low[:, None] - others) / (near[:, a, None] - others)
        weights[first + a, np.arange(count)] = np.prod(shares, axis=1)
    weights[len(nodes) + np.arange(len(rest)), count + np.arange(len(rest))] = 1.0
    evens_first = np.r_[len(octaves) : len(nodes), : len(octaves), len(nodes) : len(weights)]
    return frozen(np.concatenate([nodes, rest])[evens_first]), frozen(weights[evens_first])


def diagonal_m(body: ConvexBody) -> float:
    """Largest distance between two corners."""
    corners = np.concatenate(body.faces)
    return float(np.linalg.norm(corners[:, None] - corners[None], axis=2).max())


def _driven(radiation: Radiation, body: ConvexBody, source: FloatArray) -> BoolArray:
    """Whether (g,) the driver radiates toward the middles of the body's edges, 40 dB under its most or more."""
    middles = body.wedges[0] + 0.5 * body.wedges[4][:, None] * body.wedges[1]
    most = np.abs(radiation((middles - source) / np.linalg.norm(middles - source, axis=1)[:, None])).max(axis=0)
    return np.asarray(most > most.max() * 10.0 ** (SILENT_DB / 20.0))


def radiation_of(built: BuiltScene, s: int, d: int, frequencies_hz: FloatArray) -> Radiation:
    """Return what driver d of loudspeaker s radiates toward ways (n, 3): pressures (n, g), 1 on the axis at 1 m."""
    loudspeaker, speed = built.loudspeakers[s], built.air.speed_of_sound_m_s

    def toward(ways: FloatArray) -> ComplexArray:
        return loudspeaker.model.driver_radiation(d, loudspeaker.to_box(ways), frequencies_hz, speed)

    return toward
