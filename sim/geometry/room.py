"""The room as the calculation sees it: triangles, facets, edges, the tree, and questions one asks of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, frozen, in_rows
from sim.geometry.edges import Edges, build_edges
from sim.geometry.facets import Facet, build_facets
from sim.geometry.patches import Patch
from sim.geometry.rims import rims_of
from sim.machine.collecting import no_collecting
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


@no_collecting()
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
    rims = rims_of(facets, triangles, facet_of)
    number = {owner: place for place, owner in enumerate(owners)}
    borders = [facet.border for facet in facets]
    return FacetArrays(
        normal=frozen(in_rows(facet.normal for facet in facets)),
        offset=frozen(np.array([facet.offset_m for facet in facets])),
        frame=frozen(in_rows(facet.frame for facet in facets)),
        plane=frozen(np.array([facet.plane for facet in facets], dtype=np.int64)),
        owner=frozen(np.array([number[facet.owner] for facet in facets], dtype=np.int64)),
        border=frozen(np.concatenate(borders)),
        border_start=frozen(np.cumsum([0, *map(len, borders)])),
        rim=frozen(np.concatenate(rims)),
        rim_start=frozen(np.cumsum([0, *map(len, rims)])),
    )


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
