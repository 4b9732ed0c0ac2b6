"""The room as the calculation sees it: triangles, facets, edges, the tree, and questions one asks of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, KeptFor, frozen
from sim.geometry.edges import Edges, build_edges
from sim.geometry.facets import SNAP_M, Facet, build_facets, four_corners, polygon_sides, united_polygon
from sim.geometry.patches import Patch
from sim.rays.wide_tree import SingleArray, WideTree, build_tree

printable(WideTree)
"""Rays know arrays only: that their tree prints itself in short is seen to here."""


@printable
@dataclass(frozen=True, slots=True)
class FacetArrays:
    """All facets flattened for the kernels.

    Attributes
    ----------
    normal, offset
        (facet, 3) unit normals toward the air; (facet,) distance of each plane from the origin along it, in metres.
    frame
        (facet, 3, 3) two directions in the plane and the normal.
    plane, owner
        (facet,) number of the plane and of the body that each belongs to.
    border, border_start
        (b, 4) sides of the own polygons, from and to in the two directions of the plane, in metres; (facet + 1,)
        where those of each facet begin.
    rim, rim_start
        (r, 4) and (facet + 1,) the same of the union of facets that continue each other, where a reflection really
        vanishes.
    """

    normal: FloatArray
    offset: FloatArray
    frame: FloatArray
    plane: IntArray
    owner: IntArray
    border: FloatArray
    border_start: IntArray
    rim: FloatArray
    rim_start: IntArray


@printable
@dataclass(frozen=True)  # no slots: the tree is kept when it is first asked for
class Room:
    """Everything sound can meet, built once and never changed.

    Attributes
    ----------
    triangles
        (n, 3, 3) in metres.
    facet_of_triangle, plane_of_triangle, owner_of_triangle
        (n,) number of the facet, plane and body that each triangle belongs to.
    facets
        Flat pieces of surface; `arrays` holds the same, flattened.
    arrays
        The facets as arrays.
    owners
        Names of the room ("room", always first), furniture and loudspeakers; numbers in `arrays.owner`.
    edges
        Where facets of one body meet.
    """

    triangles: FloatArray
    facet_of_triangle: IntArray
    facets: tuple[Facet, ...]
    arrays: FacetArrays
    owners: tuple[str, ...]
    edges: Edges
    plane_of_triangle: IntArray
    owner_of_triangle: IntArray

    @cached_property
    def tree(self) -> WideTree:
        """Tree for ray queries; made when first asked, since pictures of stored results follow no rays."""
        return build_tree(self.triangles, self.plane_of_triangle, self.owner_of_triangle)

    def owner_number(self, name: str) -> int:
        """Number of a body, -2 when it has no surface (a loudspeaker that is only a point)."""
        return self.owners.index(name) if name in self.owners else -2

    def facet_numbers(self, name: str) -> tuple[int, ...]:
        """Numbers of the facets called `name`."""
        return tuple(i for i, facet in enumerate(self.facets) if facet.name == name)

    @property
    def ray_arrays(
        self,
    ) -> tuple[tuple[FloatArray, SingleArray, FloatArray], FloatArray, IntArray, IntArray]:
        """Tree, triangles, plane and owner of each triangle: what every ray kernel takes.

        Kernels read the tree by address; whoever calls one holds this tuple, and with it the arrays, meanwhile.
        """
        return (self.tree.arrays, self.triangles, self.plane_of_triangle, self.owner_of_triangle)


def build_room(patches: Sequence[Patch]) -> Room:
    """Build facets, edges and tree from patches; the room's own patches come first."""
    facets, triangles, facet_of = build_facets(patches)
    owners = tuple(dict.fromkeys(facet.owner for facet in facets))
    arrays = flatten(facets, owners, triangles, facet_of)
    return Room(
        triangles,
        facet_of,
        facets,
        arrays,
        owners,
        build_edges(facets),
        frozen(arrays.plane[facet_of]),
        frozen(arrays.owner[facet_of]),
    )


def flatten(facets: Sequence[Facet], owners: Sequence[str], triangles: FloatArray, facet_of: IntArray) -> FacetArrays:
    """Lay the facets out as flat arrays and find the rims of facets that continue each other."""
    rims = _rims(facets, triangles, facet_of)
    return FacetArrays(
        normal=frozen(np.stack([facet.normal for facet in facets])),
        offset=frozen(np.array([facet.offset_m for facet in facets])),
        frame=frozen(np.stack([facet.frame for facet in facets])),
        plane=frozen(np.array([facet.plane for facet in facets], dtype=np.int64)),
        owner=frozen(np.array([owners.index(facet.owner) for facet in facets], dtype=np.int64)),
        border=frozen(np.concatenate([facet.border for facet in facets])),
        border_start=frozen(np.cumsum([0, *(len(facet.border) for facet in facets)])),
        rim=frozen(np.concatenate(rims)),
        rim_start=frozen(np.cumsum([0, *(len(rim) for rim in rims)])),
    )


def _rims(facets: Sequence[Facet], triangles: FloatArray, facet_of: IntArray) -> list[FloatArray]:
    """For each facet the sides (b, 4), in its own directions, of the union of all facets in its plane."""
    together: dict[int, list[int]] = {}
    for number, facet in enumerate(facets):
        together.setdefault(facet.plane, []).append(number)
    rims = [facet.border for facet in facets]
    for numbers in together.values():
        if len(numbers) == 1:
            continue
        mates = tuple(facets[number] for number in numbers)
        united = _united.find(*mates)
        if united is None:
            united = _united.keep(_apart(mates) or _touching(mates, triangles[np.isin(facet_of, numbers)]), *mates)
        for number, rim in zip(numbers, united, strict=True):
            rims[number] = rim
    return rims


_united: KeptFor[tuple[FloatArray, ...]] = KeptFor(512)
APART_M, GRID = 1.0e-4, 1.0 / SNAP_M


def _apart(facets: Sequence[Facet]) -> tuple[FloatArray, ...]:
    """Rims of quadrilaterals of one plane between which there is air; nothing where that is not certain."""
    corners = [four_corners(facet) for facet in facets]
    if any(four is None for four in corners):
        return ()
    flat = facets[0].to_plane(np.stack(corners))  # type: ignore[arg-type]
    low, high = flat.min(axis=1), flat.max(axis=1)
    gaps = np.maximum(low[:, None] - high[None, :], low[None, :] - high[:, None]).max(axis=2)
    np.fill_diagonal(gaps, np.inf)
    if gaps.min() <= APART_M:
        return ()
    rims = []
    for number, facet in enumerate(facets):
        places = np.floor(facet.to_plane(np.stack(corners)) * GRID + 0.5) / GRID  # type: ignore[arg-type]
        sides = np.concatenate([places, places[:, [1, 2, 3, 0]]], axis=2)
        sides[number] = facet.border
        rims.append(frozen(sides.reshape(-1, 4)))
    return tuple(rims)


def _touching(facets: Sequence[Facet], triangles: FloatArray) -> tuple[FloatArray, ...]:
    """Rims of facets of one plane by uniting all their triangles (n, 3, 3)."""
    return tuple(_rim(np.ascontiguousarray(facet.to_plane(triangles)).tobytes()) for facet in facets)


@lru_cache(maxsize=256)
def _rim(flat: bytes) -> FloatArray:
    """Sides of the union of triangles of one plane, kept: of many layouts of one room most walls are the same."""
    return frozen(polygon_sides(united_polygon(np.frombuffer(flat).reshape(-1, 3, 2))))


# Questions one asks of a built room: what does this ray meet, does anything stand between these points.
#
# Points are copied to fresh arrays before they enter a kernel, so that each kernel is compiled for one signature.


def first_hit(room: Room, origin: FloatArray, direction: FloatArray, pass_over: int = -1) -> tuple[float, int]:
    """Return (distance in lengths of `direction`, facet) of the first surface a ray (3,), (3,) meets, or (inf, -1).

    `pass_over` is the number of a body that does not count.
    """
    from sim.rays.shape_kernels import nearest_hit

    distance, triangle = nearest_hit(
        np.array(origin), np.array(direction), 1e-9, np.inf, -1, -1, pass_over, *room.ray_arrays
    )
    return float(distance), int(room.facet_of_triangle[triangle]) if triangle >= 0 else -1


def first_between(room: Room, start: FloatArray, stop: FloatArray, pass_over: int = -1) -> int:
    """Return the facet of a surface between two points (3,), or -1 when they see each other."""
    from sim.rays.shape_kernels import blocker

    triangle = blocker(np.array(start), np.array(stop), -1, -1, pass_over, *room.ray_arrays)
    return int(room.facet_of_triangle[triangle]) if triangle >= 0 else -1
