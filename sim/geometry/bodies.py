"""Separate bodies of a mesh: which is the room, which stand in it, and which way each must face."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from ..arrays import FloatArray, IntArray
from ..errors import MeshError
from .frames import place
from .seams import neighbours

SKIN_SHARE = 0.5
"""A body that fills more than this share of the body around it is taken for the inner skin of a thick wall."""


def numbered_bodies(corners: FloatArray, faces: IntArray) -> IntArray:
    """Number the separate bodies of closed faces, the largest by volume first."""
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
    if abs(signed_volume(triangles)) > SKIN_SHARE * abs(signed_volume(shell)):
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
