"""Walls about a cluster: its image sources and image ears, and the room as it is without the bodies that stand near."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.geometry.patches import Patch
from sim.geometry.room import Room, build_room
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.beams import facet_tuple, grow, lay_mirrors, slack_beside, split
from sim.propagation.mirrors.image_sources import first_mirrors, reach_m
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import surface_factors
from sim.propagation.waves.surface import HERE, Mirror, after, mirror_at

SILENT = 1.0e-4
"""Walls that send back less of a pressure than this, in all, make no images."""


@dataclass(frozen=True, slots=True)
class WallImages:
    """Images of a point, as seen from near the cluster; the point itself is the first.

    Attributes
    ----------
    facets
        (i, K) facets of the room in the order in which sound that leaves the point meets them, -1 where none.
    mirrors
        Where each image lies, and how directions are turned.
    points
        (i, 3) images in metres.
    factors
        (i, f) product of the reflection factors.
    """

    facets: IntArray
    mirrors: tuple[Mirror, ...]
    points: FloatArray
    factors: ComplexArray

    def __len__(self) -> int:
        return len(self.points)

    @property
    def orders(self) -> IntArray:
        """(i,) number of walls met."""
        return np.asarray((self.facets >= 0).sum(axis=1))

    def chosen(self, rows: IntArray) -> WallImages:
        """Some of the images."""
        return WallImages(
            self.facets[rows], tuple(self.mirrors[row] for row in rows), self.points[rows], self.factors[rows]
        )


def without_bodies(built: BuiltScene, names: frozenset[str]) -> tuple[BuiltScene, IntArray]:
    """The same built scene without some bodies, and the number (f,) that each of its facets has in the whole one."""
    room = built.room
    kept = [f for f, facet in enumerate(room.facets) if facet.owner not in names]
    bare = build_room(
        [
            Patch(facet.name, facet.owner, facet.material, frozen(room.triangles[room.facet_of_triangle == f]))
            for f, facet in ((f, room.facets[f]) for f in kept)
        ]
    )
    return _on(built, bare, np.array(kept, dtype=np.int64)), np.array(kept, dtype=np.int64)


def _on(built: BuiltScene, bare: Room, kept: IntArray) -> BuiltScene:
    """A built scene with fewer facets; panels on what has gone go with it."""
    plane = {int(built.room.arrays.plane[f]): int(bare.arrays.plane[n]) for n, f in enumerate(kept.tolist())}
    panels = tuple(replace(panel, plane=plane[panel.plane]) for panel in built.panels if panel.plane in plane)
    return replace(
        built,
        room=bare,
        absorption=frozen(built.absorption[kept]),
        finish_of_facet=frozen(built.finish_of_facet[kept]) if len(built.finish_of_facet) else built.finish_of_facet,
        scattering=frozen(built.scattering[kept]) if len(built.scattering) else built.scattering,
        panels=panels,
    )


def images_by_walls(
    walls: BuiltScene,
    start: FloatArray,
    stop: FloatArray,
    order: int,
    frequencies_hz: FloatArray,
    loudspeaker: int = -1,
) -> WallImages:
    """Images of a point by up to `order` walls, as far as they are seen from another point.

    walls: a built scene that has nothing but the room itself.  loudspeaker: whose driver the point is, if it is one;
    what it is built into does not reflect it.
    """
    from sim.propagation.mirrors.path_kernels import find_paths

    room = walls.room
    sequences, points = np.zeros((0, max(order, 1)), dtype=np.int64), np.zeros((0, max(order, 1), 3))
    if order > 0:
        first = first_mirrors(room, walls.loudspeakers[loudspeaker]) if loudspeaker >= 0 else None
        mirrors, reach = lay_mirrors(room), reach_m(walls, order)
        ahead, behind = split(order, 1, 1)
        here, there = np.array(start), np.array(stop)
        sequences, points = find_paths(
            grow(here, ahead, mirrors, reach, first),
            grow(there, behind, mirrors, reach),
            order,
            mirrors.number,
            mirrors.facing,
            -2,
            facet_tuple(room),
            slack_beside(room),
            room.ray_arrays,
        )
    width = max(order, 1)
    facets = np.concatenate([np.full((1, width), -1, dtype=np.int64), sequences])
    where = np.concatenate([np.full((1, width, 3), np.nan), points])
    images = []
    for row in facets:
        mirror = HERE
        for f in row[row >= 0]:
            mirror = after(mirror, mirror_at(room.facets[f].normal, room.facets[f].offset_m))
        images.append(mirror)
    factors = surface_factors(*_as_paths(walls, start, stop, facets, where), frequencies_hz)
    distinct = _distinct(np.array([mirror.image(start) for mirror in images]))
    distinct = distinct[np.abs(factors[distinct]).max(axis=1) > SILENT]
    return WallImages(
        facets[distinct],
        tuple(images[row] for row in distinct),
        np.array([images[row].image(start) for row in distinct]),
        factors[distinct],
    )


def _distinct(points: FloatArray) -> IntArray:
    """Rows of the images that are not where an earlier one is."""
    keys = np.round(points / 1e-6)
    return np.sort(np.unique(keys, axis=0, return_index=True)[1])


def _as_paths(
    walls: BuiltScene, start: FloatArray, stop: FloatArray, facets: IntArray, points: FloatArray
) -> tuple[BuiltScene, PathTable]:
    """The ways from one point to another as a table, on a built scene whose only driver is the first."""
    n = len(facets)
    order = (facets >= 0).sum(axis=1)
    filled = np.concatenate([np.broadcast_to(start, (n, 1, 3)), points, np.full((n, 1, 3), np.nan)], axis=1)
    filled[np.arange(n), order + 1] = stop
    first, last = filled[:, 1] - start, filled[np.arange(n), order] - stop
    none = np.zeros(n, dtype=np.int64)
    built = walls
    if walls.loudspeakers:
        built = replace(walls, loudspeakers=(replace(walls.loudspeakers[0], driver_points=frozen(start[None].copy())),))
    table = PathTable(
        loudspeaker=none,
        driver=none,
        listener=none,
        order=order,
        facets=facets,
        points=points,
        length_m=np.nansum(np.linalg.norm(np.diff(filled, axis=1), axis=2), axis=1),
        departure=first / np.linalg.norm(first, axis=1, keepdims=True),
        arrival=last / np.linalg.norm(last, axis=1, keepdims=True),
        blocked=none.astype(np.bool_),
        margin_m=np.zeros(n),
        margin_facet=none - 1,
        margin_edge=none - 1,
    )
    return built, table
