"""Facets: triangles of one patch that lie in one plane, as a polygon with holes.

Sound meets flat surfaces, not triangles: a wall cut into two hundred triangles has one mirror image.  Facets
that continue each other in one plane (a wall and the window in it) share a plane number; only the border of
their union can make a reflection vanish, while the border between them only changes the material.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, KeptFor, frozen
from sim.geometry.patches import Patch

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

SAME_PLANE_M = 1.0e-3
SAME_DIRECTION = np.cos(np.radians(0.1))
SNAP_M = 1.0e-6
"""Polygon corners are merged on this grid when triangles are united; a thousandth of what a tape can tell."""


@printable
@dataclass(frozen=True, slots=True)
class Facet:
    """A flat piece of surface.

    Attributes
    ----------
    name, owner, material
        As in the patch it comes from.
    normal
        (3,) unit vector toward the air.
    offset_m
        normal . x of the plane.
    frame
        (3, 3) rows: origin in the plane, first and second direction in the plane.
    border
        (b, 4) sides of the polygon and its holes, in the plane's two directions: x0, y0, x1, y1.
    area_m2
        Area without the holes.
    plane
        Number of the oriented plane, shared by facets that continue each other.
    """

    name: str
    owner: str
    material: str
    normal: FloatArray
    offset_m: float
    frame: FloatArray
    border: FloatArray
    area_m2: float
    plane: int

    def to_plane(self, points: FloatArray) -> FloatArray:
        """Coordinates (..., 2) of points (..., 3) in the facet's own two directions."""
        return np.asarray((points - self.frame[0]) @ self.frame[1:].T, dtype=np.float64)

    def from_plane(self, coordinates: FloatArray) -> FloatArray:
        """Points (..., 3) in the room from coordinates (..., 2) in the plane."""
        return np.asarray(self.frame[0] + coordinates @ self.frame[1:], dtype=np.float64)

    def covers(self, point: FloatArray, within_m: float) -> bool:
        """Whether a point (3,) lies on the facet, its rim included, to `within_m` metres."""
        from sim.rays.shape_kernels import distance_to_border, inside_polygon

        if abs(float(point @ self.normal) - self.offset_m) >= within_m:
            return False
        x, y = self.to_plane(point)
        return bool(inside_polygon(x, y, self.border) or distance_to_border(x, y, self.border) < within_m)

    @property
    def corners(self) -> FloatArray:
        """(b, 3) first corner of each side, in the room."""
        return self.from_plane(self.border[:, :2])


def plane_frame(normal: FloatArray, origin: FloatArray) -> FloatArray:
    """Return (3, 3): origin and two directions; level surfaces use depth and across, others run level first."""
    if abs(normal[2]) > 0.999:
        first = np.array([1.0, 0.0, 0.0])
        first = first - (first @ normal) * normal
    else:
        first = np.cross([0.0, 0.0, 1.0], normal)
    first = first / np.linalg.norm(first)
    return np.stack([origin, first, np.cross(normal, first)])


def triangle_planes(triangles: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return unit normals (n, 3) and areas (n,) of triangles (n, 3, 3)."""
    crossed = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    double = np.linalg.norm(crossed, axis=1)
    return crossed / np.maximum(double, 1e-300)[:, None], 0.5 * double


def split_by_plane(triangles: FloatArray) -> list[IntArray]:
    """Group triangles (n, 3, 3) that lie in one plane and face one way; largest triangles decide the planes."""
    normals, areas = triangle_planes(triangles)
    left = np.argsort(-areas, kind="stable")
    groups: list[IntArray] = []
    while left.size:
        normal = normals[left[0]]
        offset = float(normal @ triangles[left[0]].mean(axis=0))
        away = np.abs(triangles[left] @ normal - offset).max(axis=1)
        same = (normals[left] @ normal >= SAME_DIRECTION) & (away <= SAME_PLANE_M)
        same[0] = True
        groups.append(np.sort(left[same]))
        left = left[~same]
    return groups


def united_polygon(flat: FloatArray) -> BaseGeometry:
    """Unite triangles (n, 3, 2) of one plane into one polygon with holes (shapely).

    A corner half-way between two grid points may be rounded either way in two triangles; the slit of a micrometre
    that this leaves between them is closed, or it would count as the rim of the surface.
    """
    import shapely

    united = shapely.union_all(shapely.polygons(flat), grid_size=SNAP_M)
    wider = shapely.buffer(united, 2.0 * SNAP_M, join_style="mitre", mitre_limit=50.0)
    closed = shapely.buffer(wider, -2.0 * SNAP_M, join_style="mitre", mitre_limit=50.0)
    return shapely.set_precision(closed, SNAP_M)


def polygon_sides(polygon: Any) -> FloatArray:
    """Return the sides (b, 4) of a polygon or several, holes included."""
    parts = getattr(polygon, "geoms", [polygon])
    sides = [
        np.hstack([ring[:-1], ring[1:]])
        for part in parts
        if part.geom_type == "Polygon"
        for ring in (np.asarray(loop.coords)[:, :2] for loop in (part.exterior, *part.interiors))
    ]
    return np.concatenate(sides) if sides else np.zeros((0, 4))


@dataclass(frozen=True, slots=True)
class _Flat:
    """A flat group of a patch's triangles: everything about a facet that does not depend on what is around it."""

    triangles: FloatArray
    normal: FloatArray
    offset_m: float
    frame: FloatArray
    sides: FloatArray
    area_m2: float
    four: bool = False
    """Whether it is one quadrilateral, whose corners are those of its two triangles."""


_kept: KeptFor[tuple[_Flat, ...]] = KeptFor(4096)


def _flats_of(patches: Sequence[Patch]) -> list[tuple[_Flat, ...]]:
    """Flat groups of each patch: kept for patches that were there before, else in closed form for quadrilaterals."""
    from sim.geometry.flat_kernels import lay_quads

    found: list[tuple[_Flat, ...] | None] = [_kept.find(patch) for patch in patches]
    quads = [n for n, known in enumerate(found) if known is None and patches[n].triangles.shape == (2, 3, 3)]
    if quads:
        triangles = frozen(np.stack([patches[n].triangles for n in quads], dtype=np.float64))
        fits, *columns = lay_quads(triangles)
        normal, offset, frame, sides, area = (frozen(column) for column in columns)
        for row in np.flatnonzero(fits).tolist():
            flat = _Flat(
                triangles[row], normal[row], float(offset[row]), frame[row], sides[row], float(area[row]), four=True
            )
            found[quads[row]] = _keep(patches[quads[row]], (flat,))
    return [
        _keep(patch, _flat_groups(np.ascontiguousarray(patch.triangles, dtype=np.float64).tobytes()))
        if known is None
        else known
        for patch, known in zip(patches, found, strict=True)
    ]


def _keep(patch: Patch, flats: tuple[_Flat, ...]) -> tuple[_Flat, ...]:
    """Keep what was found for a patch, unless somebody could still change its triangles."""
    return flats if patch.triangles.flags.writeable else _kept.keep(flats, patch)


@lru_cache(maxsize=1024)
def _flat_groups(corners: bytes) -> tuple[_Flat, ...]:
    """Flat groups of a patch's triangles, kept: of many layouts of one room most surfaces are the same."""
    triangles = np.frombuffer(corners).reshape(-1, 3, 3)
    sound = triangles[triangle_planes(triangles)[1] > 1e-12]
    groups = []
    for group in split_by_plane(sound):
        members = sound[group]
        normals, areas = triangle_planes(members)
        normal = (normals * areas[:, None]).sum(axis=0)
        normal = normal / np.linalg.norm(normal)
        offset = float(np.average((members @ normal).mean(axis=1), weights=areas))
        frame = plane_frame(normal, normal * offset)
        polygon = united_polygon((members - frame[0]) @ frame[1:].T)
        sides = polygon_sides(polygon)
        groups.append(_Flat(frozen(members), frozen(normal), offset, frozen(frame), frozen(sides), float(polygon.area)))
    return tuple(groups)


def build_facets(patches: Sequence[Patch]) -> tuple[tuple[Facet, ...], FloatArray, IntArray]:
    """Return facets, their triangles (n, 3, 3) and the facet of each triangle (n,).

    A patch that lies in several planes gives several facets of one name.  Triangles without area are dropped.
    """
    from sim.geometry.flat_kernels import number_planes

    both = [(patch, flat) for patch, flats in zip(patches, _flats_of(patches), strict=True) for flat in flats]
    normals, offsets = np.stack([flat.normal for _, flat in both]), np.array([flat.offset_m for _, flat in both])
    planes = number_planes(normals, offsets).tolist()
    facets: list[Facet] = []
    kept: list[FloatArray] = []
    for (patch, flat), plane in zip(both, planes, strict=True):
        if len(flat.sides):
            kept.append(flat.triangles)
            facets.append(_facet(patch, flat, plane))
    facet_of = np.repeat(np.arange(len(facets), dtype=np.int64), [len(triangles) for triangles in kept])
    return tuple(facets), frozen(np.concatenate(kept)), frozen(facet_of)


_made: KeptFor[Facet] = KeptFor(4096)


def _facet(patch: Patch, flat: _Flat, plane: int) -> Facet:
    """The facet of a flat group, the same one as before where nothing about it is new."""
    known = _made.find(patch, flat)
    if known is not None and known.plane == plane:
        return known
    facet = Facet(
        patch.name,
        patch.owner,
        patch.material,
        flat.normal,
        flat.offset_m,
        flat.frame,
        flat.sides,
        flat.area_m2,
        plane,
    )
    if flat.four:
        _corners.keep(flat.triangles[[0, 0, 0, 1], [0, 1, 2, 2]], facet)
    return _made.keep(facet, patch, flat)


_corners: KeptFor[FloatArray] = KeptFor(4096)


def four_corners(facet: Facet) -> FloatArray | None:
    """(4, 3) corners of a facet that is a quadrilateral, as it was given; None for any other, or where not known."""
    return _corners.find(facet)
