"""Image and edges of one reflection as one event: which part of an edge's sound belongs to which mirrored path.

A reflection from a facet that ends in the air is its image and what the facet's edges send along with it; for a facet
that is small against the wavelength the edges cancel most of the image.  So the listed level of a mirrored path is that
of the complex sum.  An edge counts there as far as it cannot be told from the reflection in time: with all it sends
while the way over it is no more than half a wavelength longer, with nothing from one wavelength on; what is left is
listed as the edge's own arrival.  On the rim, where the image switches, both ways are of one length, so that nothing
switches in the list; with a point beside the facet the path stays, and holds what its edges send.

Half a wavelength is the border of the first Fresnel zone (Born & Wolf, Principles of Optics); that the fade ends at one
wavelength is our own.  The sum of everything is not touched: each edge's sound is shared out, none is counted twice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.panel_frames import panel_of
from sim.propagation.edges.table import EdgePathTable, edge_path_gains
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.propagation.surfaces.finite_facets import BESIDE_M, faded, takes_factor

WHOLE_WAVELENGTHS, NO_WAVELENGTHS = 0.5, 1.0
"""An edge is part of the reflection to the first, and an arrival of its own from the second."""
SAME_M = 1.0e-6
"""Ways that differ by less are as long as each other, when two reflections share out one edge."""
NONE = -1


@dataclass(frozen=True, slots=True)
class Joints:
    """Pairs of an edge and a mirrored path whose facet it ends.

    Attributes
    ----------
    edge, path
        (n,) rows of the edge, and of the mirrored path.
    longer_m
        (n,) by how much the way over the edge is longer.
    weight
        (n,) part of the edge that may be counted with this path, whatever the frequency: all of it with one path; what
        two paths have of one edge goes by how near each is in length.
    speed_m_s
        Of sound.
    """

    edge: IntArray
    path: IntArray
    longer_m: FloatArray
    weight: FloatArray
    speed_m_s: float

    def fractions(self, frequencies_hz: FloatArray) -> FloatArray:
        """Part (n, f) of each edge's pressure that is counted with the path."""
        waves = self.longer_m[:, None] * frequencies_hz[None, :] / self.speed_m_s
        past = np.clip((waves - WHOLE_WAVELENGTHS) / (NO_WAVELENGTHS - WHOLE_WAVELENGTHS), 0.0, 1.0)
        return np.asarray(self.weight[:, None] * np.cos(0.5 * np.pi * past) ** 2)

    def share_out(self, mirrored: ComplexArray, edges: ComplexArray, frequencies_hz: FloatArray) -> None:
        """Move from gains of edges (q, f) to gains of mirrored paths (p, f) what belongs to these, in place."""
        moved = self.fractions(frequencies_hz) * edges[self.edge]
        np.add.at(mirrored, self.path, moved)
        np.subtract.at(edges, self.edge, moved)

    def path_with_edges(
        self, built: BuiltScene, paths: PathTable, edge_paths: EdgePathTable, row: int, frequencies_hz: FloatArray
    ) -> ComplexArray:
        """Gain (f,) of one mirrored path with what is counted with it."""
        mine = np.flatnonzero(self.path == row)
        total = path_gains(built, paths.chosen(np.array([row])), frequencies_hz)[0]
        if mine.size:
            edges = edge_path_gains(built, edge_paths.chosen(self.edge[mine]), frequencies_hz)
            total = total + (self.fractions(frequencies_hz)[mine] * edges).sum(axis=0)
        return np.asarray(total)

    def left_of_edge(self, row: int, frequencies_hz: FloatArray) -> FloatArray:
        """Part (f,) of an edge's pressure that is not counted with any reflection."""
        return np.asarray(1.0 - self.fractions(frequencies_hz)[self.edge == row].sum(axis=0))


def joints_of(built: BuiltScene, paths: PathTable, edge_paths: EdgePathTable) -> Joints:
    """Find for each edge the mirrored paths of the same mirrors that end at it.

    A path of one mirror has the edges of its facet, and the chains over its body; a path of two those of either facet,
    with the other mirror after or before.  Facets that take a factor (`finite_facets`) have no edges.
    """
    known = _paths_by_way(built, paths)
    pairs: list[tuple[int, int, float, float]] = []
    for row in range(len(edge_paths)):
        found = {path for key in _ways_of(built, edge_paths, row) for path in known.get(key, ())}
        some = sorted(found)
        longer = np.abs(edge_paths.length_m[row] - paths.length_m[some])
        nearness = 1.0 / (longer + SAME_M)
        for path, away, part in zip(some, longer, nearness / max(nearness.sum(), 1e-300), strict=True):
            pairs.append((row, path, float(away), float(part) * _kept(paths, path)))
    columns = np.array(pairs, dtype=np.float64).reshape(-1, 4)
    speed = built.air.speed_of_sound_m_s
    return Joints(columns[:, 0].astype(np.int64), columns[:, 1].astype(np.int64), columns[:, 2], columns[:, 3], speed)


def _kept(paths: PathTable, path: int) -> float:
    """Weight of a path beside its facet: 0 where the search for it ends."""
    outside = max(-float(paths.margin_m[path]), 0.0) if paths.margin_facet[path] >= 0 else 0.0
    return float(faded(np.array(outside / BESIDE_M)))


_Way = tuple[int, int, int, int, int, int, int]
"""Loudspeaker, driver, listener, mirror before, plane and body of the facet that ends, mirror after."""


def _paths_by_way(built: BuiltScene, paths: PathTable) -> dict[_Way, list[int]]:
    """Rows of mirrored paths by each of their facets that has its edges traced."""
    arrays, known = built.room.arrays, dict[_Way, list[int]]()
    factor = takes_factor(built, paths.facets)
    for row in np.flatnonzero((paths.order == 1) | (paths.order == 2)).tolist():
        order, pair = int(paths.order[row]), paths.facets[row]
        for turn in range(order):
            if factor[row, turn]:
                continue
            f = int(pair[turn])
            before, after = int(pair[0]) if turn else NONE, int(pair[1]) if turn == 0 and order == 2 else NONE
            ends = int(paths.loudspeaker[row]), int(paths.driver[row]), int(paths.listener[row])
            known.setdefault((*ends, before, int(arrays.plane[f]), int(arrays.owner[f]), after), []).append(row)
    return known


def _ways_of(built: BuiltScene, edge_paths: EdgePathTable, row: int) -> list[_Way]:
    """The ways of mirrored paths to which an edge, or a chain over a body, can belong."""
    arrays, edge = built.room.arrays, int(edge_paths.edge[row])
    if panel_of(built, edge) >= 0:
        return []
    owner = int(edge_paths.owner[row])
    if edge >= 0:
        planes = {int(arrays.plane[f]) for f in built.room.edges.facets[edge] if f >= 0}
    else:
        planes = set(arrays.plane[arrays.owner == owner].tolist())
    ends = int(edge_paths.loudspeaker[row]), int(edge_paths.driver[row]), int(edge_paths.listener[row])
    before, after = int(edge_paths.before[row]), int(edge_paths.after[row])
    return [(*ends, before, plane, owner, after) for plane in sorted(planes)]
