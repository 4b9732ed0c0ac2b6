"""Paths, specular and diffracted alike, and what each of them touches: what would go if a thing were gone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray
from sim.geometry.room import first_hit
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.panel_frames import panel_of
from sim.propagation.edges.table import EdgePathTable, edge_path_gains, touched_surfaces
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains

PAST_M = 1e-6
"""A ray goes on this far behind what it has met."""


@dataclass(frozen=True, slots=True)
class AllPaths:
    """Paths and bends in one table, paths first.

    Attributes
    ----------
    loudspeaker, driver, listener
        (w,) numbers.
    length_m
        (w,) whole length.
    straight, heard
        (w,) direct sound; whatever reaches the ear: all but hidden direct sound.
    gains
        (w, f) complex pressure.
    surfaces, of_surface
        Names, and (w, surface): whether a way touches a surface of that name.
    pieces, of_piece
        Names of furniture and boxes, and (w, piece): whether a way meets any side or edge of it.
    hidden_by
        (w,) number of the only piece that hides a direct sound, else -1.
    panels, panel_rows, panel_gains
        Names; for each panel the numbers of the ways it takes part in, and what it adds to each of them (row, f).
    """

    loudspeaker: IntArray
    driver: IntArray
    listener: IntArray
    length_m: FloatArray
    straight: BoolArray
    heard: BoolArray
    gains: ComplexArray
    surfaces: tuple[str, ...]
    of_surface: BoolArray
    pieces: tuple[str, ...]
    of_piece: BoolArray
    hidden_by: IntArray
    panels: tuple[str, ...]
    panel_rows: tuple[IntArray, ...]
    panel_gains: tuple[ComplexArray, ...]


def all_paths_of(
    built: BuiltScene,
    paths: PathTable,
    edge_paths: EdgePathTable,
    frequencies_hz: FloatArray,
    mirrored: ComplexArray | None = None,
) -> AllPaths:
    """Work out the gains of all ways at frequencies (f,), and what each touches; `mirrored`: `path_gains`, if known.

    A surface that only bends sound, and mirrors none to any listener, is not among `surfaces`; its piece is among
    `pieces`.
    """
    facets = built.room.facets
    mirrored = path_gains(built, paths, frequencies_hz) if mirrored is None else mirrored
    gains = np.concatenate([mirrored, edge_path_gains(built, edge_paths, frequencies_hz)])
    surfaces = tuple(dict.fromkeys(facets[f].name for f in paths.facets.ravel() if f >= 0))
    touched = [{facets[f].name for f in row if f >= 0} for row in paths.facets]
    touched += [set(touched_surfaces(built, edge_paths, row)) for row in range(len(edge_paths))]
    owners = [{facets[f].owner for f in row if f >= 0} for row in paths.facets]
    owners += [_owners(built, edge_paths, row) for row in range(len(edge_paths))]
    hidden = {int(row): _hiding(built, paths, int(row)) for row in np.flatnonzero(paths.blocked)}
    met = set().union(*owners, *hidden.values())
    pieces = tuple(name for name in built.room.owners[1:] if name in met)
    number = {name: place for place, name in enumerate(pieces)}
    hidden_by = np.full(len(gains), -1)
    for row, names in hidden.items():
        if len(names) == 1:
            hidden_by[row] = number.get(next(iter(names)), -1)
    none = np.zeros(len(edge_paths), dtype=np.bool_)
    panel_rows, panel_gains = _panel_parts(built, paths, edge_paths, gains, frequencies_hz)
    return AllPaths(
        loudspeaker=np.concatenate([paths.loudspeaker, edge_paths.loudspeaker]),
        driver=np.concatenate([paths.driver, edge_paths.driver]),
        listener=np.concatenate([paths.listener, edge_paths.listener]),
        length_m=np.concatenate([paths.length_m, edge_paths.length_m]),
        straight=np.concatenate([paths.order == 0, none]),
        heard=np.concatenate([~paths.blocked, ~none]),
        gains=gains,
        surfaces=surfaces,
        of_surface=_table(touched, surfaces),
        pieces=pieces,
        of_piece=_table(owners, pieces),
        hidden_by=hidden_by,
        panels=tuple(panel.name for panel in built.panels),
        panel_rows=panel_rows,
        panel_gains=panel_gains,
    )


def _table(touched: list[set[str]], names: tuple[str, ...]) -> BoolArray:
    number = {name: place for place, name in enumerate(names)}
    table = np.zeros((len(touched), len(names)), dtype=np.bool_)
    for row, some in enumerate(touched):
        table[row, [number[name] for name in some if name in number]] = True
    return table


def _owners(built: BuiltScene, edge_paths: EdgePathTable, row: int) -> set[str]:
    mirrors = {built.room.facets[f].owner for f in (edge_paths.before[row], edge_paths.after[row]) if f >= 0}
    return mirrors | {built.room.owners[edge_paths.owner[row]]}


def _hiding(built: BuiltScene, paths: PathTable, row: int) -> set[str]:
    """Names of all bodies that stand in the way of a direct sound."""
    loudspeaker = built.loudspeakers[paths.loudspeaker[row]]
    own = built.room.owner_number(loudspeaker.body)
    point, ear = loudspeaker.driver_points[paths.driver[row]], built.ears[paths.listener[row]]
    way = (ear - point) / np.linalg.norm(ear - point)
    names: set[str] = set()
    while True:
        distance, facet = first_hit(built.room, point, way, own)
        if facet < 0 or distance >= float((ear - point) @ way):
            return names
        names.add(built.room.facets[facet].owner)
        point = point + (distance + PAST_M) * way


def _panel_parts(
    built: BuiltScene, paths: PathTable, edge_paths: EdgePathTable, gains: ComplexArray, frequencies_hz: FloatArray
) -> tuple[tuple[IntArray, ...], tuple[ComplexArray, ...]]:
    """For each panel the ways that meet its plane, and what is different in each of them because it hangs there.

    Only those ways are worked out again, without that one panel; the others of its plane stay.  The edges of its own
    frame go with it.  Left out: an edge of a neighbour that it covered, and its part in faces beside edges of the room.
    """
    plane = np.append(built.room.arrays.plane, -1)  # the last one stands for no surface
    rows, parts = [], []
    for number, panel in enumerate(built.panels):
        bare = replace(built, panels=built.panels[:number] + built.panels[number + 1 :])
        mirrored = np.flatnonzero((plane[np.maximum(paths.facets, -1)] == panel.plane).any(axis=1))
        sides = np.stack([edge_paths.before, edge_paths.after], axis=1)
        diffracted = np.flatnonzero((plane[np.maximum(sides, -1)] == panel.plane).any(axis=1))
        without = np.concatenate(
            [
                path_gains(bare, paths.chosen(mirrored), frequencies_hz),
                edge_path_gains(bare, edge_paths.chosen(diffracted), frequencies_hz),
            ]
        )
        frame = np.flatnonzero([panel_of(built, edge) == number for edge in edge_paths.edge.tolist()])
        mine = np.concatenate([mirrored, len(paths) + diffracted, len(paths) + frame])
        rows.append(mine)
        parts.append(gains[mine] - np.pad(without, ((0, len(frame)), (0, 0))))
    return tuple(rows), tuple(parts)
