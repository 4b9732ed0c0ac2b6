"""The response at the ear with sound waves round what stands near at the bottom, single edges and mirrors above."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.paths import PathTable
from sim.propagation.waves.table import WavePaths, fade
from sim.responses.touching import AllPaths


@dataclass(frozen=True, slots=True)
class Low:
    """What arrives at low frequencies, by waves: all of it in a row, and which row meets what.

    Attributes
    ----------
    loudspeaker, driver, listener
        (w,) numbers.
    length_m
        (w,) length of each way.
    gains
        (w, e) complex pressure at the first frequencies of the grid, to the end of the fade.
    of_surface
        (w, surface) whether a way meets a surface of that name, as in `AllPaths`.
    of_waves
        (surface,) whether waves know what the surface does: not for those of what stands near.
    weight
        (f,) how much of the response is that of waves.
    lone, of_lone
        Number, among surfaces, then pieces, of the piece that alone stands near, -1 where there are more or it has
        drivers; (w,) the ways that are there because of it.
    """

    loudspeaker: IntArray
    driver: IntArray
    listener: IntArray
    length_m: FloatArray
    gains: ComplexArray
    of_surface: BoolArray
    of_waves: BoolArray
    weight: FloatArray
    lone: int
    of_lone: BoolArray


def low_paths(
    built: BuiltScene, paths: PathTable, ways: AllPaths, edge_paths: EdgePathTable, waves: WavePaths, count: int
) -> Low:
    """Put together waves, paths that have nothing to do with what stands near, and edges of other bodies.

    ways: all mirrored and diffracted paths, those of `paths` first and those of `edge_paths` last; count: frequencies
    of the grid.  Mirrored paths of more surfaces than waves were followed over come as they are, if they meet nothing
    that stands near; what stands near adds nothing to them.
    """
    names = [facet.name for facet in built.room.facets]
    owners = np.array([facet.owner in waves.cluster.names for facet in built.room.facets])
    bodies = np.array([owner in waves.cluster.names for owner in built.room.owners])
    near = bodies[edge_paths.owner] if len(edge_paths) else np.zeros(0, dtype=np.bool_)
    for facets in (edge_paths.before, edge_paths.after):
        near = near | ((facets >= 0) & owners[np.maximum(facets, 0)])
    first = len(ways.gains) - len(edge_paths)
    of_near = np.array([_near(built, name, owners) for name in ways.surfaces], dtype=np.bool_)
    beyond = (paths.order > waves.others.facets.shape[1]) & ways.heard[: len(paths)]
    beyond &= ~(ways.of_surface[: len(paths)] & of_near).any(axis=1)
    edges = np.concatenate([np.flatnonzero(beyond), first + np.flatnonzero(~near)])
    others = waves.others.chosen(np.flatnonzero(~waves.others.blocked))
    some = len(waves.frequencies_hz)
    gains = np.concatenate([waves.gains, waves.other_gains[~waves.others.blocked], ways.gains[edges][:, :some]])
    met = [{names[f] for f in row if f >= 0} for row in (*waves.facets, *others.facets)]
    touched = np.array([[name in row for name in ways.surfaces] for row in met]).reshape(len(met), len(ways.surfaces))
    weight = np.zeros(count)
    weight[:some] = fade(waves.frequencies_hz, waves.alone_hz)
    return Low(
        loudspeaker=np.concatenate([waves.loudspeaker, others.loudspeaker, ways.loudspeaker[edges]]),
        driver=np.concatenate([waves.driver, others.driver, ways.driver[edges]]),
        listener=np.concatenate([waves.listener, others.listener, ways.listener[edges]]),
        length_m=np.concatenate([waves.length_m, others.length_m, ways.length_m[edges]]),
        gains=gains,
        of_surface=np.concatenate([touched, ways.of_surface[edges]]),
        of_waves=~of_near,
        weight=weight,
        lone=_lone_piece(ways, waves),
        of_lone=np.arange(len(gains)) < len(waves),
    )


def _lone_piece(ways: AllPaths, waves: WavePaths) -> int:
    """Number of the only piece that stands near, whose waves are then what it adds: all they hold beside other paths.

    A driver in its cabinet is part of its own waves, with everything else that stands near.
    """
    names = tuple(waves.cluster.names)
    lone = len(names) == 1 and max(waves.cluster.cabinets, default=-1) < 0 and names[0] in ways.pieces
    return len(ways.surfaces) + ways.pieces.index(names[0]) if lone else -1


def _near(built: BuiltScene, name: str, owners: BoolArray) -> bool:
    """Whether a surface belongs to what stands near."""
    return any(owners[f] for f in built.room.facet_numbers(name))


def blended_total(low: Low, rows: BoolArray, total: ComplexArray, align: ComplexArray) -> ComplexArray:
    """A driver's response (f,) alone, with waves at the bottom."""
    waves = _summed(low, rows) * align
    return np.asarray(low.weight * waves + (1.0 - low.weight) * total)


def _summed(low: Low, rows: BoolArray) -> ComplexArray:
    """Sum (f,) of some ways on the whole grid, zero above the fade."""
    total = np.zeros(len(low.weight), dtype=np.complex128)
    total[: low.gains.shape[1]] = low.gains[rows].sum(axis=0)
    return total


def blended(
    low: Low, rows: BoolArray, total: ComplexArray, changes: ComplexArray, align: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """A driver's response (f,) and what things add to it (thing, f), with waves at the bottom.

    rows: (w,) ways of that driver to that ear.  What the room's surfaces add comes from waves as well, and what a piece
    adds that alone stands near; of several that stand near, of their faces, and of panels it stays that of mirrors and
    edges, those of the piece included.
    """
    mixed = blended_total(low, rows, total, align)
    changed = changes.copy()
    for number in np.flatnonzero(low.of_waves):
        added = _summed(low, rows & low.of_surface[:, number]) * align
        changed[number] = low.weight * added + (1.0 - low.weight) * changes[number]
    if low.lone >= 0:
        added = _summed(low, rows & low.of_lone) * align
        changed[low.lone] = low.weight * added + (1.0 - low.weight) * changes[low.lone]
    return mixed, np.asarray(changed)
