"""The bodies of a mesh, and whether each is a surface that sound can meet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray
from sim.errors import MeshError
from sim.geometry.facets import triangle_planes
from sim.geometry.frames import place
from sim.geometry.seams import edge_balance, has_three_corners, neighbours, split_at_corners, weld

SHELL_FRACTION = 0.5
"""A body that fills more than this share of the body around it is taken for the inner skin of a thick wall."""


def numbered_bodies(corners: FloatArray, faces: IntArray) -> IntArray:
    """Number the separate bodies of closed faces, the largest by volume first."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    pairs, _ = neighbours(faces)
    graph = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(faces), len(faces)))
    count, piece = connected_components(graph, directed=False)
    volumes = [abs(signed_volume(corners[faces[piece == label]])) for label in range(count)]
    rank = np.empty(count, dtype=np.int64)
    rank[np.argsort(-np.array(volumes), kind="stable")] = np.arange(count)
    return np.asarray(rank[piece], dtype=np.int64)


def facing_air(
    corners: FloatArray, faces: IntArray, bodies: IntArray, where: str, hollow: bool, notes: list[str]
) -> IntArray:
    """Turn each body so that its front is where the air is: inward for the shell of a room, else outward."""
    faces = faces.copy()
    shell = corners[faces[bodies == 0]]
    for body in range(int(bodies.max()) + 1):
        members = bodies == body
        triangles = corners[faces[members]]
        volume = signed_volume(triangles)
        is_shell = hollow and body == 0
        if hollow and body > 0:
            _check_inside(triangles, shell, where)
        if (volume > 0.0) == is_shell:
            faces[members] = faces[members][:, ::-1]
            if is_shell:
                notes.append("the faces of the room looked outward and were all turned inward")
    if hollow and bodies.max() > 0:
        notes.append(f"{int(bodies.max())} closed bodies inside the room were kept as obstacles")
    return faces


def _check_inside(triangles: FloatArray, shell: FloatArray, where: str) -> None:
    middle = 0.5 * (triangles.min(axis=(0, 1)) + triangles.max(axis=(0, 1)))
    if abs(signed_volume(triangles)) > SHELL_FRACTION * abs(signed_volume(shell)):
        raise MeshError(
            where,
            "it has an outer and an inner skin, as walls with a thickness have",
            "keep only the inside surfaces of the room",
        )
    if abs(winding_number(middle, shell)) < 0.5:
        raise MeshError(
            where,
            f"a separate body lies outside the room, at {place(middle)}",
            "delete it, or join it to the room",
        )


def signed_volume(triangles: FloatArray) -> float:
    """Volume in cubic metres of closed triangles (n, 3, 3), positive when they face outward.

    Sum of tetrahedra over the middle of the bounding box, which for a mesh with holes still tells its sense.
    """
    middle = 0.5 * (triangles.min(axis=(0, 1)) + triangles.max(axis=(0, 1)))
    a, b, c = np.moveaxis(triangles - middle, 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def winding_number(point: FloatArray, triangles: FloatArray) -> float:
    """How often closed triangles (n, 3, 3) surround a point: 0 outside, 1 or -1 inside.

    Sum of solid angles (van Oosterom and Strackee, IEEE Trans. Biomed. Eng. 30, 1983) over 4 pi.
    """
    a, b, c = np.moveaxis(triangles - point, 1, 0)
    la, lb, lc = (np.linalg.norm(each, axis=1) for each in (a, b, c))
    above = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = la * lb * lc
    below += np.einsum("ij,ij->i", a, b) * lc + np.einsum("ij,ij->i", b, c) * la + np.einsum("ij,ij->i", c, a) * lb
    return float(2.0 * np.arctan2(above, below).sum() / (4.0 * np.pi))


# Whether a mesh is a surface that sound can meet: closed, wound one way, without slivers, facing the air.
#
# Each fault is told with how many, where the first one is, and what would work.

WELD_M = 1e-4
"""Corners nearer than a tenth of a millimetre are one: far below a tape, above the rounding of 32-bit files."""


@dataclass(frozen=True, slots=True)
class Surface:
    """A checked mesh.

    Attributes
    ----------
    corners, faces
        (v, 3) in metres and (n, 3), counter-clockwise seen from the air.
    parents
        (n,) triangle of the file that each face came from.
    bodies
        (n,) number of the closed body each face belongs to; 0 is the largest, for a room its shell.
    notes
        What was put right on the way.
    """

    corners: FloatArray
    faces: IntArray
    parents: IntArray
    bodies: IntArray
    notes: tuple[str, ...]

    @property
    def triangles(self) -> FloatArray:
        """(n, 3, 3) corners of every face."""
        return np.asarray(self.corners[self.faces], dtype=np.float64)


def checked_surface(
    triangles: FloatArray, where: str, *, hollow: bool, repair: bool = False, allow_open: bool = False
) -> Surface:
    """Weld triangles (n, 3, 3) into a surface and turn it so that its front is where the air is.

    Parameters
    ----------
    hollow
        True for a room: the largest body faces inward, bodies inside it outward.  False: all face outward.
    repair
        Turn flipped faces and drop triangles without area instead of refusing them.
    allow_open
        Accept holes.  The mesh then counts as one body.

    Raises
    ------
    MeshError
        If it is open, wound both ways, has triangles without area, or has bodies where none can be.
    """
    notes: list[str] = []
    corners, faces = weld(triangles, WELD_M)
    faces, parents = _without_slivers(corners, faces, where, repair, notes)
    joined, origin = split_at_corners(corners, faces, WELD_M)
    if len(joined) > len(faces):
        notes.append(f"{len(joined) - len(faces)} triangles were added where a corner met the middle of another's edge")
    faces, parents = joined, parents[origin]
    closed = _check_closed(corners, faces, where, allow_open, notes)
    faces = _one_way(corners, faces, where, repair, notes)
    bodies = numbered_bodies(corners, faces) if closed else np.zeros(len(faces), dtype=np.int64)
    faces = facing_air(corners, faces, bodies, where, hollow, notes)
    return Surface(corners, faces, parents, bodies, tuple(notes))


def _without_slivers(
    corners: FloatArray, faces: IntArray, where: str, repair: bool, notes: list[str]
) -> tuple[IntArray, IntArray]:
    """Refuse or drop triangles thinner than the welding distance; returns faces and their places in the file."""
    sides = corners[faces] - np.roll(corners[faces], -1, axis=1)
    longest = np.linalg.norm(sides, axis=2).max(axis=1)
    doubled_area = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    flat = ~has_three_corners(faces) | (doubled_area <= WELD_M * longest)
    if flat.any() and not repair:
        first = corners[faces[np.argmax(flat)]].mean(axis=0)
        raise MeshError(
            where,
            f"{int(flat.sum())} of {len(faces)} triangles have no area, the first at {place(first)}",
            "clean the mesh, or set repair = true to drop them",
        )
    if flat.all():
        raise MeshError(where, "no triangle of the mesh has any area", "check the unit, or export the mesh again")
    if flat.any():
        notes.append(f"{int(flat.sum())} triangles without area were dropped")
    return faces[~flat], np.flatnonzero(~flat)


def _check_closed(corners: FloatArray, faces: IntArray, where: str, allow_open: bool, notes: list[str]) -> bool:
    edges, uses, _ = edge_balance(faces)
    odd = edges[uses % 2 == 1]
    if len(odd) == 0:
        return True
    sentence = (
        f"the mesh is not closed: {len(odd)} edges belong to an odd number of faces, "
        f"the first from {place(corners[odd[0, 0]])} to {place(corners[odd[0, 1]])}"
    )
    if not allow_open:
        raise MeshError(where, sentence, "close the gap, or for a room set allow_open = true to let sound out there")
    notes.append(f"{sentence}; sound that reaches the gap leaves the room")
    return False


def _one_way(corners: FloatArray, faces: IntArray, where: str, repair: bool, notes: list[str]) -> IntArray:
    """Make all faces that share an edge agree on their winding; the side with less area counts as flipped."""
    pairs, same_sense = neighbours(faces)
    if not same_sense.any():
        return faces
    flipped = _flipped(corners, faces, pairs, same_sense)
    if flipped is None:
        raise MeshError(
            where,
            "no winding of its faces has one side everywhere",
            "export the mesh again as a surface with two sides",
        )
    if not repair:
        first = corners[faces[np.argmax(flipped)]].mean(axis=0)
        raise MeshError(
            where,
            f"{int(flipped.sum())} of {len(faces)} faces are flipped against their neighbours, "
            f"the first at {place(first)}",
            "make the normals agree, or set repair = true to turn them",
        )
    notes.append(f"{int(flipped.sum())} flipped faces were turned")
    return np.where(flipped[:, None], faces[:, ::-1], faces)


def _flipped(corners: FloatArray, faces: IntArray, pairs: IntArray, same_sense: BoolArray) -> BoolArray | None:
    """Which faces to turn so that neighbours agree; None when that is impossible (a one-sided surface)."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import breadth_first_order, connected_components

    count = len(faces)
    first, second = pairs.T
    graph = coo_array((np.ones(len(first)), (first, second)), shape=(count, count)).tocsr()
    number, piece = connected_components(graph, directed=False)
    relation = {(a, b): turn for a, b, turn in zip(first.tolist(), second.tolist(), same_sense.tolist(), strict=True)}
    _, areas = triangle_planes(corners[faces])
    turned = np.zeros(count, dtype=np.bool_)
    for label in range(number):
        members = np.flatnonzero(piece == label)
        order, parent = breadth_first_order(graph, members[0], directed=False)
        for face in order[1:].tolist():
            above = int(parent[face])
            turn = relation[(above, face)] if (above, face) in relation else relation[(face, above)]
            turned[face] = turned[above] ^ turn
        if areas[members[turned[members]]].sum() > 0.5 * areas[members].sum():
            turned[members] = ~turned[members]
    agree = (turned[first] ^ turned[second]) == same_sense
    return turned if agree.all() else None
