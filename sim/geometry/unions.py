"""Outlines of triangles of one plane: in closed form where they meet side to side, else their union (shapely)."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.errors import MeshError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

SNAP_M = 1.0e-6
"""Polygon corners are merged on this grid when triangles are united; a thousandth of what a tape can tell."""


def united_polygon(flat: FloatArray) -> BaseGeometry:
    """Unite triangles (n, 3, 2) of one plane into one polygon with holes (shapely).

    A corner half-way between two grid points may be rounded either way in two triangles; the slit of a micrometre
    that this leaves between them is closed, or it would count as the rim of the surface.
    """
    import shapely

    return united_polygons(shapely.polygons(flat), [0, len(flat)])[0]  # type: ignore[no-any-return]


def united_polygons(triangles: Any, starts: Sequence[int] | IntArray) -> Any:
    """The same for many planes: triangles (shapely) of plane p stand from starts[p] to starts[p + 1]."""
    import shapely

    with suppress(shapely.GEOSException):
        return _closed(_unions(triangles, starts), SNAP_M)
    # sides no longer than the grid, or nearly in line, may defeat the library: plane by plane, mended, on coarser grids
    planes = [triangles[a:b] for a, b in pairwise(np.asarray(starts).tolist())]
    return np.array([_united_somehow(each) for each in planes], dtype=object)


def _unions(triangles: Any, starts: Sequence[int] | IntArray) -> Any:
    import shapely

    first, counts = np.asarray(starts)[:-1], np.diff(starts)
    united = np.empty(len(first), dtype=object)
    for count in np.flatnonzero(np.bincount(counts)).tolist():  # all planes of as many triangles in one go
        these = np.flatnonzero(counts == count)
        rows = triangles[first[these][:, None] + np.arange(count)]
        united[these] = shapely.union_all(rows, axis=1, grid_size=SNAP_M)
    return united


def _closed(united: Any, grid_m: float) -> Any:
    """Polygons (p,) without slits of a step of the grid between pieces."""
    import shapely

    wider = shapely.buffer(united, 2.0 * grid_m, join_style="mitre", mitre_limit=50.0)
    closed = shapely.buffer(wider, -2.0 * grid_m, join_style="mitre", mitre_limit=50.0)
    return shapely.set_precision(closed, grid_m)


def _united_somehow(triangles: Any) -> Any:
    import shapely

    for grid_m in (1.0 * SNAP_M, 10.0 * SNAP_M, 100.0 * SNAP_M, 1000.0 * SNAP_M):
        with suppress(shapely.GEOSException):
            mended = shapely.make_valid(shapely.set_precision(triangles, grid_m))
            united = shapely.union_all(mended[shapely.area(mended) > 0.0], grid_size=grid_m)
            return _closed(np.array([united], dtype=object), grid_m)[0]
    raise MeshError(
        f"{len(triangles)} triangles of one plane",
        "their outline cannot be found, as too many sides cross or nearly touch",
        "a mesh whose corners nearer than 1 mm are merged would work",
    )


MOST_TOGETHER = 64
"""Of more triangles (scans) the outline is left to their union: sides are compared each with each."""


def outlines_of(many: Sequence[FloatArray]) -> tuple[list[FloatArray], list[float]]:
    """Sides (b, 4) and area of what the triangles (n, 3, 2) of each of many planes cover together.

    In closed form where they meet side to side, as those of walls with openings do, else by union.
    """
    from sim.geometry.union_kernels import outline_of

    sides: list[FloatArray] = []
    areas: list[float] = []
    left = []
    for number, flat in enumerate(many):
        known = len(flat) <= MOST_TOGETHER and outline_of(np.ascontiguousarray(flat))
        fits, own, area = known or (False, np.zeros((0, 4)), 0.0)
        sides.append(own)
        areas.append(area)
        if not fits:
            left.append(number)
    if left:
        import shapely

        together = shapely.polygons(np.concatenate([many[number] for number in left]))
        united = united_polygons(together, np.cumsum([0, *(len(many[number]) for number in left)]))
        for number, own, area in zip(left, sides_of_polygons(united), shapely.area(united).tolist(), strict=True):
            sides[number], areas[number] = own, area
    return sides, areas


def polygon_sides(polygon: Any) -> FloatArray:
    """Return the sides (b, 4) of a polygon or several, holes included."""
    return sides_of_polygons(np.array([polygon], dtype=object))[0]


def sides_of_polygons(polygons: Any) -> list[FloatArray]:
    """Sides (b, 4) of each polygon (shapely), each of which may be in several pieces."""
    import shapely

    parts, part_of = shapely.get_parts(polygons, return_index=True)
    rings, ring_of = shapely.get_rings(parts, return_index=True)
    corners, corner_of = shapely.get_coordinates(rings, return_index=True)
    ahead = corner_of[1:] == corner_of[:-1]
    sides = np.hstack([corners[:-1], corners[1:]])[ahead]
    counts = np.bincount(part_of[ring_of[corner_of[1:][ahead]]], minlength=len(polygons))
    return np.split(sides, np.cumsum(counts)[:-1])
