"""Triangles of one plane united into polygons with holes (shapely)."""

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

    planes = [triangles[a:b] for a, b in pairwise(np.asarray(starts).tolist())]
    with suppress(shapely.GEOSException):
        return _on_grid(planes, SNAP_M)
    # sides no longer than the grid, or nearly in line, may defeat the library: plane by plane, mended, on coarser grids
    return np.array([_united_somehow(each) for each in planes], dtype=object)


def _on_grid(planes: Sequence[Any], grid_m: float) -> Any:
    import shapely

    united = [shapely.union_all(each, grid_size=grid_m) for each in planes]
    wider = shapely.buffer(np.array(united, dtype=object), 2.0 * grid_m, join_style="mitre", mitre_limit=50.0)
    closed = shapely.buffer(wider, -2.0 * grid_m, join_style="mitre", mitre_limit=50.0)
    return shapely.set_precision(closed, grid_m)


def _united_somehow(triangles: Any) -> Any:
    import shapely

    for grid_m in (1.0 * SNAP_M, 10.0 * SNAP_M, 100.0 * SNAP_M, 1000.0 * SNAP_M):
        with suppress(shapely.GEOSException):
            mended = shapely.make_valid(shapely.set_precision(triangles, grid_m))
            return _on_grid([mended[shapely.area(mended) > 0.0]], grid_m)[0]
    raise MeshError(
        f"{len(triangles)} triangles of one plane",
        "their outline cannot be found, as too many sides cross or nearly touch",
        "a mesh whose corners nearer than 1 mm are merged would work",
    )
