"""Convex bodies with flat rigid faces: what sees what, what mirrors, and which edges bend sound to which."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.arrays import ComplexArray, FloatArray, IntArray, frozen

ON_SURFACE_M = 1.0e-7
"""A point nearer to the plane of a face is moved out to this height, so that it is on a side."""
ON_BORDER_M = 1.0e-9
"""A ray nearer to an edge counts half: so does the peak of the edge's integral, which is left out there."""
FADE_RAD = np.radians(10.0)


@dataclass(frozen=True, slots=True)
class ConvexBody:
    """A convex polyhedron.

    Attributes
    ----------
    faces
        Corners (n, 3) of each face, in turn.
    normals, offsets
        (g, 3) unit vectors into the air and (g,) metres: normal . x of each face's plane.
    wedges
        start (e, 3), along (e, 3), face (e, 3), normal (e, 3), length (e,), air angle (e,) for the kernels.
    faces_of_edge
        (e, 2) numbers of face 0 and face 1 of each edge.
    edge_legs
        (h, 4) from edge, to edge, and whether the face they share is face 0 or 1 of either.
    """

    faces: tuple[FloatArray, ...]
    normals: FloatArray
    offsets: FloatArray
    wedges: tuple[FloatArray, ...]
    faces_of_edge: IntArray
    edge_legs: IntArray

    def heights(self, point: FloatArray) -> FloatArray:
        """Heights (g,) of a point (3,) above the planes of the faces, in metres."""
        return np.asarray(self.normals @ point - self.offsets)

    def contains(self, point: FloatArray) -> bool:
        """Whether a point lies inside, not on the surface."""
        return bool((self.heights(point) < -ON_SURFACE_M).all())

    def lifted(self, point: FloatArray) -> FloatArray:
        """Return the point (3,), moved out of any face's plane by a ten-thousandth of a millimetre."""
        heights = self.heights(point)
        near = np.abs(heights) < ON_SURFACE_M
        return np.asarray(point + ((ON_SURFACE_M - heights)[near, None] * self.normals[near]).sum(axis=0))

    def sees(self, point: FloatArray) -> FloatArray:
        """Angles (e, 2) of a point (3,) about each edge, from face 0 and from face 1, through the air, in radians.

        One of the two is negative where the edge is hidden from the point.
        """
        from sim.propagation.edges.edge_kernels import cylinder

        start, along, face, normal, _, air = self.wedges
        angle = np.array([cylinder(point, *four)[1] for four in zip(start, along, face, normal, strict=True)])
        return np.column_stack([angle, air - angle])


def convex_body(faces: Sequence[FloatArray]) -> ConvexBody:
    """Build a body from the corners (n, 3) of its faces, counter-clockwise seen from the air."""
    normals = np.array([_normal(face) for face in faces])
    offsets = np.array([normal @ face.mean(axis=0) for normal, face in zip(normals, faces, strict=True)])
    sides: dict[tuple[tuple[float, ...], ...], list[int]] = {}
    for number, face in enumerate(faces):
        for a, b in zip(face, np.roll(face, -1, axis=0), strict=True):
            key = tuple(sorted(tuple(float(c) for c in np.round(p, 9) + 0.0) for p in (a, b)))
            sides.setdefault(key, []).append(number)
    pairs = np.array([numbers for numbers in sides.values() if len(numbers) == 2], dtype=np.int64)
    ends = np.array([key for key, numbers in sides.items() if len(numbers) == 2])
    if len(pairs) == 0:
        raise ValueError(
            "these faces share no edges; give the corners of a closed body, each the same in all its faces"
        )
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    along = (ends[:, 1] - ends[:, 0]) / length[:, None]
    normal = normals[pairs[:, 0]]
    into = np.cross(normal, along)
    toward = np.array([faces[first].mean(axis=0) for first, _ in pairs]) - ends.mean(axis=1)
    into = into * np.sign((into * toward).sum(axis=1))[:, None]
    air = np.pi + np.arccos(np.clip((normal * normals[pairs[:, 1]]).sum(axis=1), -1.0, 1.0))
    edge_legs = [
        (i, j, a, b)
        for i, mine in enumerate(pairs)
        for j, yours in enumerate(pairs)
        for a in range(2)
        for b in range(2)
        if i != j and mine[a] == yours[b]
    ]
    parts = (ends[:, 0], along, into, normal, length, air)
    return ConvexBody(
        tuple(frozen(np.array(face, dtype=np.float64)) for face in faces),
        frozen(normals),
        frozen(offsets),
        tuple(np.ascontiguousarray(part) for part in parts),
        frozen(pairs),
        np.array(edge_legs, dtype=np.int64).reshape(-1, 4),
    )


def prism(corners: FloatArray, thickness_m: float) -> ConvexBody:
    """Return the body below a flat convex polygon (n, 3); its normal points up if the corners run counter-clockwise."""
    down = -thickness_m * _normal(corners)
    lower = corners + down
    rims = [np.stack([a, a + down, b + down, b]) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    return convex_body([corners, lower[::-1], *rims])


def _normal(face: FloatArray) -> FloatArray:
    doubled = np.cross(face - face[0], np.roll(face, -1, axis=0) - face[0]).sum(axis=0)
    return np.asarray(doubled / np.linalg.norm(doubled))


def fraction_of_direct(body: ConvexBody, source: FloatArray, ear: FloatArray) -> float:
    """1 where the ear sees the source past the body, 0 where not, 1/2 on the border of shadow."""
    way = body.normals @ (ear - source)
    fractions = []
    for grown in (-ON_BORDER_M, ON_BORDER_M):
        room = body.offsets + grown - body.normals @ source
        with np.errstate(divide="ignore", invalid="ignore"):
            meets = room / way
        enter = meets[way < 0.0].max(initial=0.0)
        leave = meets[way > 0.0].min(initial=1.0)
        outside = bool((room[way == 0.0] < 0.0).any())
        fractions.append(0.5 if outside or leave <= enter else 0.0)
    return sum(fractions)


def fraction_of_mirror(body: ConvexBody, source: FloatArray, ear: FloatArray, face: int) -> tuple[float, FloatArray]:
    """Share of the mirror image in one face, 0 .. 1, and the reflection point (3,)."""
    high_s, high_e = body.heights(source)[face], body.heights(ear)[face]
    if high_s <= 0.0 or high_e <= 0.0:
        return 0.0, np.full(3, np.nan)
    normal, corners = body.normals[face], body.faces[face]
    point = (source * high_e + ear * high_s) / (high_s + high_e)
    point = point - (normal @ point - body.offsets[face]) * normal
    ahead = np.roll(corners, -1, axis=0) - corners
    inward = np.cross(normal, ahead / np.linalg.norm(ahead, axis=1)[:, None])
    deep = ((point - corners) * inward).sum(axis=1)
    return float(np.prod(np.where(deep > ON_BORDER_M, 1.0, np.where(deep < -ON_BORDER_M, 0.0, 0.5)))), point


def plain_pressure(body: ConvexBody, source: FloatArray, ear: FloatArray, wavenumbers: FloatArray) -> ComplexArray:
    """Complex (f,): direct and mirrored e^{-jkr}/r as far as they are seen, the body's edges left out."""
    lengths = [float(np.linalg.norm(ear - source))]
    fractions = [fraction_of_direct(body, source, ear)]
    for face in range(len(body.faces)):
        fraction, point = fraction_of_mirror(body, source, ear, face)
        fractions.append(fraction)
        lengths.append(float(np.linalg.norm(point - source) + np.linalg.norm(ear - point)) if fraction else 1.0)
    waves = np.exp(-1j * np.outer(lengths, wavenumbers)) / np.array(lengths)[:, None]
    return np.asarray(np.array(fractions) @ waves)


def rim_fade(body: ConvexBody, point: FloatArray) -> FloatArray:
    """Weights (e,) of each edge as the end of a chain of the last order.

    An edge at the far side of a face comes into sight at once when the point rises above the face's plane.  The
    next order, which is not calculated, would make up for it; so the last one fades in over FADE_RAD.
    """
    from sim.propagation.edges.leg_kernels import beside_faces

    starts = np.cumsum([0, *(len(face) for face in body.faces)])
    heights, outside = beside_faces(point, np.concatenate(body.faces), starts, body.normals, body.offsets)
    grazing = np.maximum(np.arctan2(heights, outside), 0.0)
    clear = np.where(outside > 0.0, np.sin(0.5 * np.pi * np.minimum(1.0, grazing / FADE_RAD)) ** 2, 1.0)
    flat = np.cos(np.clip(body.sees(point), 0.0, 0.5 * np.pi)) ** 2
    return np.asarray(np.prod(1.0 - (1.0 - clear[body.faces_of_edge]) * flat, axis=1))
