"""Where the level of one arrival comes from: what distance, radiation, air, surfaces and edges each take, in dB.

Every step is a ratio of energies over an octave, each weighted by what all earlier steps left, so that the steps of one
driver add up exactly to its level re its own direct sound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from sim.acoustics.air import attenuation_db_per_m
from sim.acoustics.bands import Bands, sample_frequencies
from sim.acoustics.levels import level_db
from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, frozen
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable, edge_path_gains
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import surface_factors
from sim.responses.arrivals import POINTS_PER_OCTAVE
from sim.responses.joined_edges import joints_of
from sim.responses.records import Arrival

Kind = Literal["distance", "radiation", "air", "surface", "panels", "rim", "edge", "drivers"]
LAST = 1_000
SMALLEST_DB = 0.05
"""Panels that change no octave by more than this are counted with their wall."""


@printable
@dataclass(frozen=True, slots=True)
class Loss:
    """One step from the direct sound to the arrival.

    Attributes
    ----------
    kind
        "distance", "radiation", "air", "surface", "panels", "rim" (what it costs that surfaces end in the air), "edge"
        or "drivers".
    turn
        The surface or edge along the path that it belongs to, from 0; -1 for none.
    level_db
        (band,) negative where something is lost.
    """

    kind: Kind
    turn: int
    level_db: FloatArray


def arrival_losses(
    built: BuiltScene, paths: PathTable, edge_paths: EdgePathTable, arrival: Arrival, bands: Bands
) -> tuple[tuple[Loss, ...], tuple[int, ...]]:
    """Return the losses of an arrival, and which of its parts carries each octave (band,).

    Each octave follows the driver that carries most of it.  With several drivers a last step, "drivers", closes the
    sum: how the drivers add up in this arrival against how they add up in the direct sound.
    """
    frequencies = sample_frequencies(bands, POINTS_PER_OCTAVE)
    joints = joints_of(built, paths, edge_paths)
    by_part = []
    for part in arrival.parts:
        steps = (
            _diffracted(built, paths, edge_paths, part.path, frequencies.ravel())
            if arrival.diffracted
            else (_mirrored(built, paths, part.path, frequencies.ravel()))
        )
        if arrival.diffracted:
            left = joints.left_of_edge(part.path, frequencies.ravel())
            steps.append(("rim", -1, steps[-1][2] * left**2))
        elif arrival.order:
            whole = joints.path_with_edges(built, paths, edge_paths, part.path, frequencies.ravel())
            steps.append(("rim", -1, np.abs(whole) ** 2))
        energies = [energy.reshape(frequencies.shape).mean(axis=1) for _, _, energy in steps]
        levels = [level_db(after / np.maximum(before, 1e-300)) for before, after in pairwise(energies)]
        by_part.append([(kind, turn, level) for (kind, turn, _), level in zip(steps[1:], levels, strict=True)])
    carrying = np.argmax([part.level_db for part in arrival.parts], axis=0)
    octaves = np.arange(len(bands))
    losses = [
        Loss(kind, turn, frozen(np.array([steps[place][2] for steps in by_part])[carrying, octaves]))
        for place, (kind, turn, _) in enumerate(by_part[0])
    ]
    losses = _without_idle_panels(sorted(losses, key=_place))
    if len(_drivers(built, arrival)) > 1:
        rest = arrival.level_db - np.sum([loss.level_db for loss in losses], axis=0)
        losses.append(Loss("drivers", -1, frozen(np.asarray(rest))))
    return tuple(losses), tuple(carrying.tolist())


def _place(loss: Loss) -> int:
    """Where a step stands: those without a turn first, the rim last."""
    return LAST if loss.kind == "rim" else loss.turn


def _drivers(built: BuiltScene, arrival: Arrival) -> Sequence[object]:
    return next(one for one in built.loudspeakers if one.name == arrival.loudspeaker).model.drivers


_Steps = list[tuple[Kind, int, FloatArray]]


def _start(
    built: BuiltScene,
    paths: PathTable,
    s: int,
    d: int,
    place: int,
    length_m: float,
    departure: FloatArray,
    frequencies_hz: FloatArray,
) -> _Steps:
    """Energy (f,) of the driver's direct sound, then at the whole length, toward the departure, through the air."""
    (direct,) = np.flatnonzero(
        (paths.loudspeaker == s) & (paths.driver == d) & (paths.listener == place) & (paths.order == 0)
    )
    loudspeaker, straight_m = built.loudspeakers[s], float(paths.length_m[direct])
    ways = loudspeaker.to_box(np.stack([paths.departure[direct], departure]))
    sent = loudspeaker.model.driver_radiation(d, ways, frequencies_hz, built.air.speed_of_sound_m_s)
    fades = attenuation_db_per_m(frequencies_hz, built.air)
    toward_ear, away = np.abs(sent) ** 2
    air = 10.0 ** (-fades * straight_m / 10.0)
    return [
        ("distance", -1, toward_ear * air / straight_m**2),
        ("distance", -1, toward_ear * air / length_m**2),
        ("radiation", -1, away * air / length_m**2),
        ("air", -1, away * 10.0 ** (-fades * length_m / 10.0) / length_m**2),
    ]


def _mirrored(built: BuiltScene, paths: PathTable, row: int, frequencies_hz: FloatArray) -> _Steps:
    one = paths.chosen(np.array([row]))
    s, d, place = int(one.loudspeaker[0]), int(one.driver[0]), int(one.listener[0])
    steps = _start(built, paths, s, d, place, float(one.length_m[0]), one.departure[0], frequencies_hz)
    bare = replace(built, panels=())
    hung = {panel.plane for panel in built.panels}
    energy = steps[-1][2]
    for turn in range(int(one.order[0])):
        wall, whole = (np.abs(turn_factor(kind, one, turn, frequencies_hz)) ** 2 for kind in (bare, built))
        steps.append(("surface", turn, energy * wall))
        if built.room.facets[one.facets[0, turn]].plane in hung:
            steps.append(("panels", turn, energy * whole))
        energy = steps[-1][2]
    return steps


def turn_factor(built: BuiltScene, one: PathTable, turn: int, frequencies_hz: FloatArray) -> ComplexArray:
    """Reflection factor (f,) of one surface of a path, a table of one row, panels included."""
    facets = np.where(np.arange(one.facets.shape[1]) == turn, one.facets, -1)
    return np.asarray(surface_factors(built, replace(one, facets=facets), frequencies_hz)[0])


def _diffracted(
    built: BuiltScene, paths: PathTable, edge_paths: EdgePathTable, row: int, frequencies_hz: FloatArray
) -> _Steps:
    """As for mirrored paths; what the mirrors leave is found by taking them off, the edge is all that is left then.

    A chain of edges has no one departure: what the loudspeaker sends toward its edges is in what the edges take.
    """
    one = edge_paths.chosen(np.array([row]))
    s, d, place = int(one.loudspeaker[0]), int(one.driver[0]), int(one.listener[0])
    points = one.points[0][~np.isnan(one.points[0, :, 0])]
    first = points[0] if len(points) else built.ears[place]
    leaving = first - built.loudspeakers[s].driver_points[d]
    departure = leaving / np.linalg.norm(leaving)
    steps = _start(built, paths, s, d, place, float(one.length_m[0]), departure, frequencies_hz)
    none = np.full(1, -1, dtype=np.int64)
    before, after = int(one.before[0]) >= 0, int(one.after[0]) >= 0
    ways = [("edge", int(before), replace(one, before=none, after=none))]
    ways += [("surface", 0, replace(one, after=none))] * before
    ways += [("surface", int(before) + 1, one)] * after
    for kind, turn, way in ways:
        steps.append((kind, turn, np.abs(edge_path_gains(built, way, frequencies_hz)[0]) ** 2))  # type: ignore[arg-type]
    return steps


def _without_idle_panels(losses: Sequence[Loss]) -> list[Loss]:
    """Count panels, and rims, that do nothing here with what is before them."""
    kept: list[Loss] = []
    for loss in losses:
        if loss.kind in ("panels", "rim") and np.abs(loss.level_db).max() <= SMALLEST_DB:
            kept[-1] = replace(kept[-1], level_db=frozen(kept[-1].level_db + loss.level_db))
        else:
            kept.append(loss)
    return kept
