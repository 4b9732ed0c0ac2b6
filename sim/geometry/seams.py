"""Seams: surfaces that belong together are made to share corners, so that no slit is left between them.

An opening that reaches the floor puts two corners in the middle of the floor's edge.  Unless the floor's
triangle is split there, wall and floor share no edge, and a closed room looks open.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray

FEW = 200
"""Up to so many corners a search tree takes longer to load than all pairs to compare."""


def ear_faces(rings: Sequence[FloatArray]) -> IntArray:
    """Cut a polygon into counter-clockwise triangles at its own corners (ear clipping).

    Parameters
    ----------
    rings
        Corners (k, 2) of the outline and then of each hole, not closed, in either sense.

    Returns
    -------
    IntArray
        (n, 3) numbers of the corners, counted through all rings.
    """
    import mapbox_earcut

    corners = np.ascontiguousarray(np.concatenate(rings))
    ends = np.cumsum([len(ring) for ring in rings]).astype(np.uint32)
    faces = np.asarray(mapbox_earcut.triangulate_float64(corners, ends), dtype=np.int64).reshape(-1, 3)
    first, second = corners[faces[:, 1]] - corners[faces[:, 0]], corners[faces[:, 2]] - corners[faces[:, 0]]
    clockwise = first[:, 0] * second[:, 1] < first[:, 1] * second[:, 0]
    faces[clockwise] = faces[clockwise][:, ::-1]
    return faces


def weld(triangles: FloatArray, tolerance_m: float) -> tuple[FloatArray, IntArray]:
    """Merge corners nearer than the tolerance: returns corners (v, 3) and faces (n, 3) that number them.

    Chains of near corners merge too, so the tolerance must be far below the smallest real distance.
    """
    points = triangles.reshape(-1, 3)
    order = np.lexsort(points.T[::-1])
    new = np.concatenate([[True], (points[order[1:]] != points[order[:-1]]).any(axis=1)])
    loose, number = points[order[new]], np.empty(len(points), dtype=np.int64)
    number[order] = np.cumsum(new) - 1
    pairs = near_pairs(loose, tolerance_m)
    if len(pairs) == 0:
        return loose, number.reshape(-1, 3)
    # loaded for meshes only, since it takes a tenth of a second: rooms of a few walls have corners that meet exactly
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = len(loose)
    near = coo_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    _, cluster = connected_components(near, directed=False)
    _, first = np.unique(cluster, return_index=True)
    return loose[first], np.asarray(cluster, dtype=np.int64)[number.reshape(-1, 3)]


def _undirected(directed: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Edges (e, 2) without their sense, lower corner first, number (m,) of each of `directed` (m, 2), and uses (e,)."""
    base = int(directed.max(initial=0)) + 1
    # one number for both corners: sorting those is several times quicker than sorting pairs
    keys, number, uses = np.unique(
        directed.min(axis=1) * base + directed.max(axis=1), return_inverse=True, return_counts=True
    )
    return np.column_stack([keys // base, keys % base]), number.reshape(-1), uses


def near_pairs(points: FloatArray, tolerance_m: float) -> IntArray:
    """Pairs (n, 2) of points nearer than the tolerance; few points are compared each with each."""
    if len(points) <= FEW:
        first, second = np.triu_indices(len(points), 1)
        near = np.linalg.norm(points[first] - points[second], axis=1) <= tolerance_m
        return np.column_stack([first[near], second[near]])
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(points).query_pairs(tolerance_m, output_type="ndarray"), dtype=np.int64)


def has_three_corners(faces: IntArray) -> BoolArray:
    """Whether welding left each face (n, 3) three different corners."""
    a, b, c = faces.T
    return np.asarray((a != b) & (b != c) & (c != a))


def directed_edges(faces: IntArray) -> IntArray:
    """Edges (n, 3, 2) of faces (n, 3) in the sense they are wound."""
    return np.stack([faces, np.roll(faces, -1, axis=1)], axis=2)


def edge_balance(faces: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Count how faces use each edge: edges (e, 2), number of uses (e,), forward minus backward uses (e,).

    A closed surface uses every edge an even number of times; a consistently wound one has balance zero.
    """
    directed = directed_edges(faces).reshape(-1, 2)
    forward = directed[:, 0] < directed[:, 1]
    edges, number, uses = _undirected(directed)
    balance = np.bincount(number, weights=np.where(forward, 1.0, -1.0), minlength=len(edges))
    return edges, np.asarray(uses, dtype=np.int64), np.rint(balance).astype(np.int64)


def neighbours(faces: IntArray) -> tuple[IntArray, BoolArray]:
    """Pairs (p, 2) of faces that alone share an edge, and whether both run along it in the same sense (p,)."""
    directed = directed_edges(faces).reshape(-1, 2)
    _, number, count = _undirected(directed)
    order = np.argsort(number, kind="stable")
    shared_by_two = order[np.repeat(count == 2, count)].reshape(-1, 2)
    same = (directed[shared_by_two[:, 0]] == directed[shared_by_two[:, 1]]).all(axis=1)
    return shared_by_two // 3, np.asarray(same)


def split_at_corners(corners: FloatArray, faces: IntArray, tolerance_m: float) -> tuple[IntArray, IntArray]:
    """Split faces whose unshared edges carry corners of other faces in their middle.

    Parameters
    ----------
    corners, faces
        (v, 3) and (n, 3), already welded, each face with three different corners.
    tolerance_m
        How far a corner may lie beside an edge and still count as on it.

    Returns
    -------
    faces, parents
        (m, 3) with m >= n, wound as before, and (m,) the face each one came from.
    """
    parents = np.arange(len(faces), dtype=np.int64)
    while True:
        edges, uses, _ = edge_balance(faces)
        open_edges = edges[uses % 2 == 1]
        splits = _corners_on(corners, open_edges, tolerance_m)
        if not splits:
            return faces, parents
        kept, kept_parents = [], []
        for face, parent in zip(faces.tolist(), parents.tolist(), strict=True):
            pieces = _split_once(face, splits)
            kept += pieces
            kept_parents += [parent] * len(pieces)
        if len(kept) == len(faces):
            return faces, parents
        faces = np.array(kept, dtype=np.int64)
        parents = np.array(kept_parents, dtype=np.int64)


def _corners_on(corners: FloatArray, edges: IntArray, tolerance_m: float) -> dict[tuple[int, int], list[int]]:
    """For each edge that carries other edges' ends: these corners, ordered from its first to its second end."""
    found: dict[tuple[int, int], list[int]] = {}
    if len(edges) == 0:
        return found
    candidates = np.unique(edges)
    within = _balls(corners[candidates])
    for a, b in edges.tolist():
        start, along = corners[a], corners[b] - corners[a]
        length = float(np.linalg.norm(along))
        near = candidates[within(start + 0.5 * along, 0.5 * length + tolerance_m)]
        near = near[(near != a) & (near != b)]
        fraction = (corners[near] - start) @ along / length**2
        beside = np.linalg.norm(corners[near] - start - fraction[:, None] * along, axis=1)
        margin = tolerance_m / length
        on = (beside <= tolerance_m) & (fraction > margin) & (fraction < 1.0 - margin)
        if on.any():
            found[(a, b)] = near[on][np.argsort(fraction[on])].tolist()
    return found


def _balls(points: FloatArray) -> Callable[[FloatArray, float], Sequence[int] | IntArray]:
    """What finds the points (n, 3) in a ball; few points are asked one by one, which saves loading a tree."""
    if len(points) <= FEW:
        return lambda middle, radius_m: np.flatnonzero(np.linalg.norm(points - middle, axis=1) <= radius_m)
    from scipy.spatial import cKDTree

    tree = cKDTree(points)
    return lambda middle, radius_m: tree.query_ball_point(middle, radius_m, return_sorted=True)


def _split_once(face: list[int], splits: dict[tuple[int, int], list[int]]) -> list[list[int]]:
    """Split a face along its first edge that carries corners none of which is its own third corner."""
    for a, b, c in (face, face[1:] + face[:1], face[2:] + face[:2]):
        on = splits.get((min(a, b), max(a, b)), [])
        if not on or c in on:
            continue
        chain = [a, *(on if a < b else on[::-1]), b]
        return [[first, second, c] for first, second in itertools.pairwise(chain)]
    return [face]
