"""Names for the surfaces of a mesh: those of the file, or after the direction each flat piece lies in.

A mesh without groups is cut into flat connected pieces.  "front wall", "left slope", "ceiling" and so on say
where a piece lies; of several with one name the largest keeps it bare and the others are numbered from 2.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.blueprint.records import NamedSurface
from sim.errors import SceneError
from sim.geometry.facets import SAME_DIRECTION, triangle_planes
from sim.geometry.frames import place
from sim.geometry.mesh_checks import Surface
from sim.geometry.patches import Group, compass_name, groups_of, members_of, numbered
from sim.geometry.seams import neighbours

NEAR_SURFACE_M = 0.05
"""How far the point of a named surface may be from it (common practice, no source)."""
LEVEL_DEG = 5.0
"""A surface looking down within this much of straight down is ceiling, beyond it a slope."""
BOX_SIDES = {"floor": "top", "ceiling": "underside", "front wall": "listener side", "rear wall": "far side"}
BOX_SIDES |= {"left wall": "right side", "right wall": "left side"}
"""What a face of a free-standing body is called that would bear the first name as a face of the room."""


def surface_names(surface: Surface, file_names: list[str], kinds: IntArray) -> list[str]:
    """Return a name for each face of a room mesh.

    Parameters
    ----------
    surface
        The checked mesh, body 0 being the shell of the room.
    file_names
        Group name of each face, empty where the file gives none.  A file with only one name for everything
        gives no names of surfaces, and counts as unnamed.
    kinds
        (n,) any number per face that pieces must not mix, such as the material of the file.
    """
    names = list(file_names) if len(set(file_names)) > 1 else [""] * len(file_names)
    unnamed = np.array([not name for name in names])
    pieces = flat_pieces(surface, np.where(unnamed, kinds, -1))
    normals, areas = triangle_planes(surface.triangles)
    free = np.flatnonzero(unnamed)
    whole = free.tolist()
    members = list(members_of(pieces[free].tolist()).values())
    labels, sizes = [], []
    if members:
        faces, starts = free[np.concatenate(members)], np.cumsum([0, *(len(inside) for inside in members)])[:-1]
        means = np.add.reduceat(normals[faces] * areas[faces, None], starts)
        means = means / np.linalg.norm(means, axis=1)[:, None]
        bodies = surface.bodies[faces[starts]].tolist()
        looks = zip(means.tolist(), bodies, groups_of(means), strict=True)
        labels = [_piece_name(mean, body, group) for mean, body, group in looks]
        sizes = np.add.reduceat(areas[faces], starts).tolist()
    taken = set(names)
    unlike = [label if label not in taken else f"{label} (unnamed)" for label in numbered(labels, sizes)]
    for label, inside in zip(unlike, members, strict=True):
        for number in inside.tolist():
            names[whole[number]] = label
    return names


def flat_pieces(surface: Surface, kinds: IntArray) -> IntArray:
    """Number (n,) the connected pieces of one plane, one body and one kind; kind -1 is connected to nothing."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    faces = surface.faces
    normals, _ = triangle_planes(surface.triangles)
    first, second = neighbours(faces)[0].T
    same = (kinds[first] == kinds[second]) & (kinds[first] >= 0)
    same &= np.einsum("ij,ij->i", normals[first], normals[second]) >= SAME_DIRECTION
    pairs = (first[same], second[same])
    graph = coo_array((np.ones(int(same.sum())), pairs), shape=(len(faces), len(faces)))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _piece_name(inward: Sequence[float], body: int, group: Group) -> str:
    outward = (-inward[0], -inward[1])
    if group == "floor":
        name = "floor"
    elif group == "walls" or body > 0:
        name = "ceiling" if group == "ceiling" else compass_name(outward)
    elif inward[2] <= -np.cos(np.radians(LEVEL_DEG)):
        name = "ceiling"
    else:
        name = compass_name(outward).replace("wall", "slope")
    return name if body == 0 else f"block {body} {BOX_SIDES[name]}"


def side_names(surface: Surface, item: str) -> list[str]:
    """Return a name for each face of a piece of furniture: the item and the side that the face looks to most."""
    normals, _ = triangle_planes(surface.triangles)
    sides = ("far side", "left side", "underside", "listener side", "right side", "top")
    looks_to = np.argmax(np.hstack([-normals, normals]), axis=1)
    return [f"{item} {sides[side]}" for side in looks_to.tolist()]


def renamed(surface: Surface, names: list[str], wanted: tuple[NamedSurface, ...]) -> tuple[list[str], dict[str, str]]:
    """Give the surface at each point its wanted name; returns all names, and the materials that came with them.

    Raises
    ------
    SceneError
        If a point is further than 5 cm from every surface, or two points give one surface two names, or a
        wanted name is already that of another surface.
    """
    triangles = surface.triangles
    found: dict[str, str] = {}
    for entry in wanted:
        where = f'room.surfaces "{entry.name}"'
        point = np.array(entry.at.coordinates)
        away = distances(point, triangles)
        nearest = int(np.argmin(away))
        if away[nearest] > NEAR_SURFACE_M:
            raise SceneError(
                f"{where}: at",
                f"{place(point)} is {away[nearest]:.3f} m from the nearest surface ({names[nearest]})",
                f"give a point on the surface, within {NEAR_SURFACE_M:g} m",
            )
        old = names[nearest]
        if old in found:
            raise SceneError(
                where, f'its point lies on the surface already named "{found[old]}"', "name each surface once"
            )
        found[old] = entry.name
    result = [found.get(name, name) for name in names]
    for old, new in found.items():
        if (new in names and new not in found) or list(found.values()).count(new) > 1:
            raise SceneError(
                f'room.surfaces "{new}"',
                f'another surface than "{old}" has this name too',
                "choose another name",
            )
    return result, {entry.name: entry.material for entry in wanted if entry.material is not None}


def distances(point: FloatArray, triangles: FloatArray) -> FloatArray:
    """Distances (n,) from a point (3,) to triangles (n, 3, 3): to the plane above them, else to the nearest side."""
    a, b, c = np.moveaxis(triangles, 1, 0)
    normals, _ = triangle_planes(triangles)
    height = np.einsum("ij,ij->i", point - a, normals)
    foot = point - height[:, None] * normals
    inside = np.ones(len(triangles), dtype=np.bool_)
    nearest = np.full(len(triangles), np.inf)
    for start, end in ((a, b), (b, c), (c, a)):
        along = end - start
        inside &= np.einsum("ij,ij->i", np.cross(along, foot - start), normals) >= 0.0
        fraction = np.einsum("ij,ij->i", point - start, along) / np.einsum("ij,ij->i", along, along)
        on_side = start + np.clip(fraction, 0.0, 1.0)[:, None] * along
        nearest = np.minimum(nearest, np.linalg.norm(point - on_side, axis=1))
    return np.asarray(np.where(inside, np.abs(height), nearest), dtype=np.float64)
