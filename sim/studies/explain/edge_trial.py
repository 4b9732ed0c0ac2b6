"""What an edge of furniture would send if the piece stood elsewhere: the piece is moved or cut, the scene built again.

Only the edge itself is worked out again, beside rigid faces; whatever else changes shows when the changed scene is
traced.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from sim.acoustics.levels import level_db
from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, frozen
from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.supports import covers
from sim.propagation.edges.chains import chain_gain, radiation_of
from sim.propagation.edges.diffracting import diffracting
from sim.propagation.edges.single import bare_edges, edge_gains, free_bodies, wedge_of
from sim.studies.explain.mirror_trial import DIRECTIONS, free_distance_m

TRIED_M: Final = (0.05, 0.10, 0.20, 0.30)
"""Chains of edges, which take long, are tried at the third of these alone."""
ENDS: Final = {
    "listener-side edge": ("from_front", 1),
    "far edge": ("from_front", 0),
    "rear edge": ("from_front", 1),
    "front edge": ("from_front", 0),
    "left edge": ("from_left", 0),
    "right edge": ("from_left", 1),
    "upper edge": ("up", 1),
    "lower edge": ("up", 0),
}
"""Which end of which span of a piece an edge is."""


@printable
@dataclass(frozen=True, slots=True)
class EdgeTrial:
    """The change of a piece that does most against one edge.

    Attributes
    ----------
    kind, direction
        "move" or "cut", and which way.
    amount_m
        How far in metres; zero: nothing that was tried helps.
    left_db
        (octave,) what is left of the arrival, dB re direct.
    enough
        Whether that is under the target.
    why
        Why nothing could be tried, if so.
    """

    kind: str
    direction: str
    amount_m: float
    left_db: FloatArray
    enough: bool
    why: str = ""


def edge_trial(
    built: BuiltScene,
    blueprint: Blueprint,
    folder: Path,
    way: tuple[int, int, int],
    owner: int,
    edge: int,
    mirrors: tuple[int, int],
    level: FloatArray,
    frequencies_hz: FloatArray,
    limit_db: float,
) -> EdgeTrial:
    """Try moving or cutting the piece whose edge bends an arrival.

    Parameters
    ----------
    way
        Numbers of loudspeaker and listener, and how many drivers there are.
    owner, edge, mirrors
        As in the table of bends: body, edge or -1 for a chain, facets before and after or -1.
    level
        (octave,) levels of the arrival as it is, for the octaves of frequencies_hz (octave, point).
    limit_db
        What it should come down to.
    """
    name = built.room.owners[owner]
    before = edge_energy(built, way, owner, edge, mirrors, frequencies_hz)
    best = EdgeTrial("", "", 0.0, frozen(level.copy()), False, _why_fixed(blueprint, name))
    free = {words: free_distance_m(built, name, way[1], step) for words, step in DIRECTIONS} if not best.why else {}
    for kind, direction, amount, changed in _changes(blueprint, name, TRIED_M if edge >= 0 else TRIED_M[2:3]):
        if kind == "move" and amount > free[direction]:
            continue
        try:
            other = build_scene(changed, folder)
        except SceneError:
            continue
        if len(other.room.facets) != len(built.room.facets) or len(other.room.edges.ends) != len(built.room.edges.ends):
            continue
        if edge < 0 and owner not in free_bodies(other.room):
            continue
        left = level + level_db(edge_energy(other, way, owner, edge, mirrors, frequencies_hz) / before)
        if left.max() >= level.max():
            continue  # an arrival that is under the target as it is would stay so with many a change for the worse
        enough = bool(left.max() <= limit_db)
        # the least change that is enough; as long as none is, the one that leaves least
        better = (enough and (not best.enough or amount < best.amount_m)) or (
            not enough and not best.enough and left.max() < best.left_db.max() - 1.0
        )
        if better:
            best = EdgeTrial(kind, direction, amount, frozen(left), enough)
    return best


def edge_energy(
    built: BuiltScene,
    way: tuple[int, int, int],
    owner: int,
    edge: int,
    mirrors: tuple[int, int],
    frequencies_hz: FloatArray,
) -> FloatArray:
    """Mean energy (octave,) of one edge (edge -1: of chains) of a body, all drivers; next to nothing when hidden."""
    total = sum(
        _from_edge(built, way[0], d, way[1], owner, edge, mirrors, frequencies_hz.ravel()) for d in range(way[2])
    )
    return np.asarray(np.mean(np.abs(np.reshape(total, frequencies_hz.shape)) ** 2, axis=1) + 1e-12)


def body_energy(built: BuiltScene, way: tuple[int, int, int], owner: int, frequencies_hz: FloatArray) -> FloatArray:
    """Mean energy (octave,) of all bare edges of a body together, without mirrors, all drivers."""
    room = built.room
    mine = [int(e) for e in bare_edges(room) if room.arrays.owner[room.edges.facets[e, 0]] == owner]
    total = np.zeros(frequencies_hz.size, dtype=np.complex128)
    for d in range(way[2]):
        for e in mine:
            total += _from_edge(built, way[0], d, way[1], owner, e, (-1, -1), frequencies_hz.ravel())
    return np.asarray(np.mean(np.abs(total.reshape(frequencies_hz.shape)) ** 2, axis=1) + 1e-12)


def _from_edge(
    built: BuiltScene,
    s: int,
    d: int,
    place: int,
    owner: int,
    edge: int,
    mirrors: tuple[int, int],
    frequencies_hz: FloatArray,
) -> ComplexArray:
    loudspeaker, speed = built.loudspeakers[s], built.air.speed_of_sound_m_s
    source, ear = np.array(loudspeaker.driver_points[d]), np.array(built.ears[place])

    radiation = radiation_of(built, s, d, frequencies_hz)
    before, after = ((f,) if f >= 0 else () for f in mirrors)
    if edge < 0:
        things = diffracting(built)
        if owner not in things.bodies:
            return np.zeros(len(frequencies_hz), dtype=np.complex128)
        gain, length, _ = chain_gain(built, (s, d, place), owner, (before, after), things, frequencies_hz)
        return np.asarray(gain * np.exp(-2j * np.pi * frequencies_hz * length / speed))
    found = edge_gains(
        built.room,
        source,
        ear,
        built.room.owner_number(loudspeaker.body),
        frequencies_hz,
        speed,
        radiation,
        before=before,
        after=after,
        edges=np.array([edge]),
        wedges={edge: wedge_of(built.room, edge)},
    )
    return np.asarray(found.gains.sum(axis=0))


def changed_blueprint(blueprint: Blueprint, name: str, kind: str, direction: str, amount: float) -> Blueprint | None:
    """The scene with one piece moved, cut or tilted; None where it cannot be told so.

    Amounts in metres, or degrees for a tilt, whose direction is "far edge up" or "far edge down".
    """
    matching = [number for number, item in enumerate(blueprint.furniture) if item.name == name]
    if len(matching) != 1:
        return None
    item = blueprint.furniture[matching[0]]
    if kind == "move":
        depth, across, up = (float(value) for value in dict(DIRECTIONS)[direction] * amount)
        made = item.moved((depth, across, up))
    elif kind == "tilt":
        made = item.tilted(amount if direction == "far edge up" else -amount)
    else:
        made = item.cut(*ENDS[direction], amount)
    if made is None:
        return None
    pieces = tuple(made if number == matching[0] else other for number, other in enumerate(blueprint.furniture))
    return blueprint.model_copy(update={"furniture": pieces})


def carries(blueprint: Blueprint, name: str) -> tuple[str, ...]:
    """Names of the loudspeakers that stand on a piece, as far as the scene says so."""
    on_desks = [one for one in blueprint.loudspeakers if one.standing == "desk"]
    tables = blueprint.furniture
    found = []
    for one in on_desks:
        plan = np.array([one.acoustic_axis.from_front, one.acoustic_axis.from_left])
        below = [one.stands_on] if one.stands_on else [item.name for item in tables if covers(item, plan)]
        found += [one.name] * (name in below)
    return tuple(found)


def stays(blueprint: Blueprint, name: str) -> str:
    """Why a piece of furniture is neither moved nor cut, such as "it is a beam"; empty for all others."""
    return next((item.stays for item in blueprint.furniture if item.name == name and item.stays), "")


def _why_fixed(blueprint: Blueprint, name: str) -> str:
    if name not in [item.name for item in blueprint.furniture]:
        return "it belongs to the room" if name == "room" else "it is a monitor's cabinet"
    return stays(blueprint, name)


def _changes(
    blueprint: Blueprint, name: str, amounts: tuple[float, ...]
) -> Iterator[tuple[str, str, float, Blueprint]]:
    """Scenes with the piece moved (unless a loudspeaker stands on it) or cut, the least change first."""
    if _why_fixed(blueprint, name):
        return
    kinds = [("cut", words) for words in ENDS if words not in ("rear edge", "front edge")]
    if not carries(blueprint, name):
        kinds = [("move", words) for words, _ in DIRECTIONS] + kinds
    for amount in amounts:
        for kind, direction in kinds:
            changed = changed_blueprint(blueprint, name, kind, direction, amount)
            if changed is not None:
                yield kind, direction, amount, changed
