"""Facets: triangles of one patch that lie in one plane, as a polygon with holes.

Sound meets flat surfaces, not triangles: a wall cut into two hundred triangles has one mirror image.  Facets
that continue each other in one plane (a wall and the window in it) share a plane number; only the border of
their union can make a reflection vanish, while the border between them only changes the material.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, KeptFor, frozen, in_rows
from sim.geometry.patches import Patch
from sim.geometry.unions import outlines_of

SAME_PLANE_M = 1.0e-3
SAME_DIRECTION = np.cos(np.radians(0.1))
SMALLEST_M2 = 1e-12


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


def plane_frames(normals: FloatArray, origins: FloatArray) -> FloatArray:
    """`plane_frame` of many planes: (n, 3, 3) from normals (n, 3) and origins (n, 3)."""
    level = (np.abs(normals[:, 2]) > 0.999)[:, None]
    ahead = np.array([1.0, 0.0, 0.0]) - normals[:, :1] * normals
    first = np.where(level, ahead, np.column_stack([-normals[:, 1], normals[:, 0], np.zeros(len(normals))]))
    first = first / np.linalg.norm(first, axis=1)[:, None]
    return np.stack([origins, first, np.cross(normals, first)], axis=1)


def split_by_plane(triangles: FloatArray) -> list[IntArray]:
    """Group triangles (n, 3, 3) that lie in one plane and face one way; largest triangles decide the planes."""
    return _split(triangles, *triangle_planes(triangles))


def _split(triangles: FloatArray, normals: FloatArray, areas: FloatArray) -> list[IntArray]:
    """The same for triangles (n, 3, 3) whose unit normals (n, 3) and areas (n,) are known."""
    from sim.geometry.plane_kernels import split_planes

    order = np.argsort(-areas, kind="stable")
    numbers, _ = split_planes(np.array(triangles, dtype=np.float64), np.array(normals), order)
    return np.split(np.argsort(numbers, kind="stable"), np.cumsum(np.bincount(numbers))[:-1])


@dataclass(frozen=True, slots=True)
class _Flat:
    """A flat group of a patch's triangles: everything about a facet that does not depend on what is around it."""

    triangles: FloatArray
    normal: FloatArray
    offset_m: float
    frame: FloatArray
    sides: FloatArray
    area_m2: float


MOST_KEPT = 4096
"""Of a room of more surfaces (scans) nothing is kept here: the first would be let go before they are asked for."""
_kept: KeptFor[tuple[_Flat, ...]] = KeptFor(MOST_KEPT)


def _flats_of(patches: Sequence[Patch]) -> list[tuple[_Flat, ...]]:
    """Flat groups of each patch.

    Kept for patches that were there before, else in closed form for triangles and quadrilaterals, else by union.
    """
    from sim.geometry.flat_kernels import diagonal_first, lay_quads
    from sim.geometry.plane_kernels import lay_triangles

    crowd = len(patches) > MOST_KEPT
    found: list[tuple[_Flat, ...] | None] = [None if crowd else _kept.find(patch) for patch in patches]
    for count, lay in ((2, lay_quads), (1, lay_triangles)):
        these = [n for n, known in enumerate(found) if known is None and len(patches[n].triangles) == count]
        if not these:
            continue
        triangles = frozen(in_rows(np.asarray(patches[n].triangles, dtype=np.float64) for n in these))
        pairs = diagonal_first(triangles) if crowd and count == 2 else triangles
        fits, *columns = lay(pairs if count == 2 else triangles.reshape(-1, 3, 3))
        normal, offset, frame, sides, area = (frozen(column) for column in columns)
        levels, areas = offset.tolist(), area.tolist()
        for row in np.flatnonzero(fits).tolist():
            flat = _Flat(triangles[row], normal[row], levels[row], frame[row], sides[row], areas[row])
            found[these[row]] = (flat,) if crowd else _keep(patches[these[row]], (flat,))
    others = [n for n, known in enumerate(found) if known is None]
    for n, flats in zip(others, _united([patches[n].triangles for n in others]), strict=True):
        found[n] = flats if crowd else _keep(patches[n], flats)
    return found  # type: ignore[return-value]


def _keep(patch: Patch, flats: tuple[_Flat, ...]) -> tuple[_Flat, ...]:
    """Keep what was found for a patch, unless somebody could still change its triangles."""
    return flats if patch.triangles.flags.writeable else _kept.keep(flats, patch)


_alike: OrderedDict[bytes, tuple[_Flat, ...]] = OrderedDict()
MOST_ALIKE = 1024


def _united(many: Sequence[FloatArray]) -> list[tuple[_Flat, ...]]:
    """Flat groups of triangles (n, 3, 3) of each patch, by union; the same triangles are united once.

    They are kept by what they are: of many layouts of one room most surfaces are the same, though made anew.
    """
    keys = [np.ascontiguousarray(triangles, dtype=np.float64).tobytes() for triangles in many]
    known = {key: flats for key in keys if (flats := _alike.get(key)) is not None}
    new = [key for key in dict.fromkeys(keys) if key not in known]
    for key, flats in zip(new, _flat_groups([np.frombuffer(key).reshape(-1, 3, 3) for key in new]), strict=True):
        known[key] = _alike[key] = flats
    while len(_alike) > MOST_ALIKE:
        with suppress(KeyError):  # let go of meanwhile by another thread
            _alike.popitem(last=False)
    return [known[key] for key in keys]


def _flat_groups(many: Sequence[FloatArray]) -> list[tuple[_Flat, ...]]:
    """Unite the triangles (n, 3, 3) of each patch plane by plane, all patches in one go."""
    if not many:
        return []
    together = np.concatenate(many)
    sizes = triangle_planes(together)
    firsts = np.cumsum([0, *(len(triangles) for triangles in many)]).tolist()
    groups = []
    for first, last in pairwise(firsts):
        sound = first + np.flatnonzero(sizes[1][first:last] > SMALLEST_M2)
        groups.append(
            [sound[g] for g in _split(together[sound], sizes[0][sound], sizes[1][sound])] if len(sound) else []
        )
    members = [group for found in groups for group in found]
    if not members:
        return [() for _ in many]
    order = np.concatenate(members)
    whole, normals, areas = together[order], sizes[0][order], sizes[1][order]
    starts = np.cumsum([0, *(len(each) for each in members)])
    group_of = np.repeat(np.arange(len(members)), np.diff(starts))
    normal = np.add.reduceat(normals * areas[:, None], starts[:-1])
    normal = normal / np.linalg.norm(normal, axis=1)[:, None]
    levels = np.einsum("tca,ta->tc", whole, normal[group_of]).mean(axis=1)
    offset = np.add.reduceat(levels * areas, starts[:-1]) / np.add.reduceat(areas, starts[:-1])
    frame = plane_frames(normal, normal * offset[:, None])
    places = np.einsum("tca,tda->tcd", whole - frame[group_of, None, 0], frame[group_of, 1:])
    sides, areas_of = outlines_of([places[a:b] for a, b in pairwise(starts.tolist())])
    own = [whole[a:b] for a, b in pairwise(starts.tolist())]
    laid = zip(own, normal, offset.tolist(), frame, sides, areas_of, strict=True)
    flats = [
        _Flat(frozen(triangles), frozen(look), level, frozen(axes), frozen(rim), area)
        for triangles, look, level, axes, rim, area in laid
    ]
    firsts = np.cumsum([0, *(len(found) for found in groups)]).tolist()
    return [tuple(flats[first:last]) for first, last in pairwise(firsts)]


def build_facets(patches: Sequence[Patch]) -> tuple[tuple[Facet, ...], FloatArray, IntArray]:
    """Return facets, their triangles (n, 3, 3) and the facet of each triangle (n,).

    A patch that lies in several planes gives several facets of one name.  Triangles without area are dropped.
    """
    from sim.geometry.plane_kernels import number_planes

    both = [(patch, flat) for patch, flats in zip(patches, _flats_of(patches), strict=True) for flat in flats]
    normals, offsets = in_rows(flat.normal for _, flat in both), np.array([flat.offset_m for _, flat in both])
    planes = number_planes(normals, offsets)[0].tolist()
    facets: list[Facet] = []
    kept: list[FloatArray] = []
    for (patch, flat), plane in zip(both, planes, strict=True):
        if len(flat.sides):
            kept.append(flat.triangles)
            facets.append(_facet(patch, flat, plane, len(both) <= MOST_KEPT))
    facet_of = np.repeat(np.arange(len(facets), dtype=np.int64), [len(triangles) for triangles in kept])
    return tuple(facets), frozen(np.concatenate(kept)), frozen(facet_of)


_made: KeptFor[Facet] = KeptFor(MOST_KEPT)


def _facet(patch: Patch, flat: _Flat, plane: int, keep: bool) -> Facet:
    """The facet of a flat group, the same one as before where nothing about it is new."""
    known = _made.find(patch, flat) if keep else None
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
    return _made.keep(facet, patch, flat) if keep else facet


def plain_corners(facet: Facet, triangles: FloatArray) -> FloatArray | None:
    """(3 or 4, 3) corners of a facet that is one triangle or quadrilateral, as it was given; None for any other."""
    if len(triangles) == 1 and len(facet.border) == 3:
        return np.asarray(triangles[0], dtype=np.float64)
    if len(triangles) != 2 or len(facet.border) != 4:
        return None
    first, second = triangles
    alike = bool((first[0] == second[0]).all() and (first[2] == second[1]).all())
    return np.asarray(triangles[[0, 0, 0, 1], [0, 1, 2, 2]], dtype=np.float64) if alike else None
