"""Chains: sound that goes round two or three edges of a body in turn, a mirror before, after or both."""

from __future__ import annotations

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.bare import images, seen_fractions, shortest_over_two_edges
from sim.propagation.edges.convex import ConvexBody
from sim.propagation.edges.diffracting import Diffracting
from sim.propagation.edges.plates import Radiation, body_pressure

CHAIN_TO_HZ, THIRD_EDGE_TO_HZ, MIRRORED_CHAIN_TO_HZ = 11_300.0, 5600.0, 4000.0
"""Chains are followed over the octave of 8 kHz and fade out over its upper third; of three edges over that of 4 kHz;
with a mirror to 4 kHz.  At high frequencies the third edge adds next to nothing (`docs/explanation/edges.md`)."""
MOST_IN_TURN = 3
SILENT_DB = -40.0
"""A driver that radiates less than this toward the edges of a body, re its most at any frequency, starts no chains."""


def chain_gain(
    built: BuiltScene,
    job: tuple[int, int, int],
    owner: int,
    mirrors: tuple[tuple[int, ...], tuple[int, ...]],
    things: Diffracting,
    frequencies_hz: FloatArray,
    in_turn: int = MOST_IN_TURN,
) -> tuple[ComplexArray, float, FloatArray]:
    """What edges of a body in turn add (g,), the phase of the shortest path off; its length, places of its mirrors.

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
    chain = np.zeros(len(frequencies_hz), dtype=np.complex128)
    if min(body.heights(start).max(), body.heights(end).max()) <= 0.0:
        return chain, length, places
    seen = seen_fractions(room, owner, body, source, ear, room.owner_number(own), before, after)
    mirrored = bool(before or after)
    highest = MIRRORED_CHAIN_TO_HZ if mirrored else CHAIN_TO_HZ

    def radiation(hertz: FloatArray) -> Radiation:
        free = radiation_of(built, s, d, hertz)
        turn = np.eye(3)
        for f in before:
            turn = turn - 2.0 * np.outer(room.arrays.normal[f], room.arrays.normal[f]) @ turn
        return lambda ways: free(ways @ turn)

    heard = _driven(radiation(frequencies_hz), body, start) & (frequencies_hz <= highest)
    if seen.max(axis=1).min() > 0.0 and heard.any():
        wavenumbers = 2.0 * np.pi * frequencies_hz[heard] / speed
        weights = things.weights[owner] * np.stack([seen[0], np.ones(len(seen[0])), seen[1]])
        order = 2 if mirrored else in_turn
        third_to = 2.0 * np.pi * THIRD_EDGE_TO_HZ / speed
        drive = radiation(frequencies_hz[heard])
        parts = body_pressure(body, start, end, wavenumbers, order, drive, weights, third_to)
        parts[3:] *= fade_below(frequencies_hz[heard], THIRD_EDGE_TO_HZ)
        chain[heard] = parts[2:].sum(axis=0)
    chain *= fade_below(frequencies_hz, highest) * np.exp(2j * np.pi * frequencies_hz * length / speed)
    return chain, length, places


def _driven(radiation: Radiation, body: ConvexBody, source: FloatArray) -> BoolArray:
    """Whether (g,) the driver radiates toward the middles of the body's edges, 40 dB under its most or more."""
    middles = body.wedges[0] + 0.5 * body.wedges[4][:, None] * body.wedges[1]
    most = np.abs(radiation((middles - source) / np.linalg.norm(middles - source, axis=1)[:, None])).max(axis=0)
    return np.asarray(most > most.max() * 10.0 ** (SILENT_DB / 20.0))


def fade_below(frequencies_hz: FloatArray, highest_hz: float) -> FloatArray:
    """Weights (g,): 1, falling to 0 over the third of an octave below `highest_hz`, 0 above."""
    fraction = np.clip(np.log2(highest_hz / frequencies_hz) * 3.0, 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * fraction) ** 2)


def radiation_of(built: BuiltScene, s: int, d: int, frequencies_hz: FloatArray) -> Radiation:
    """Return what driver d of loudspeaker s radiates toward ways (n, 3): pressures (n, g), 1 on the axis at 1 m."""
    loudspeaker, speed = built.loudspeakers[s], built.air.speed_of_sound_m_s

    def toward(ways: FloatArray) -> ComplexArray:
        return loudspeaker.model.driver_radiation(d, loudspeaker.to_box(ways), frequencies_hz, speed)

    return toward
