"""Random patches for tests: boxes, rooms over random polygons, furnished rooms, and ways to cut them finer."""

from __future__ import annotations

import numpy as np
import shapely

from sim.geometry.patches import Patch
from sim.geometry.room import Room, build_room

_QUADS = {
    "low": (0, 2, 6, 4),
    "high": (1, 5, 7, 3),
    "far": (0, 1, 3, 2),
    "near": (4, 6, 7, 5),
    "left": (0, 4, 5, 1),
    "right": (2, 3, 7, 6),
}
"""Corners of a box, numbered by bits depth, across, up; counter-clockwise from outside."""


def box_patches(low: np.ndarray, high: np.ndarray, owner: str, inward: bool = False) -> list[Patch]:
    """Six patches of an axis-parallel box, wound toward outside, or toward inside for a room."""
    corners = np.array([[(low, high)[bit][k] for k, bit in enumerate((i >> 2, i >> 1 & 1, i & 1))] for i in range(8)])
    made = []
    for name, quad in _QUADS.items():
        ring = corners[list(quad)]
        normal = np.cross(ring[1] - ring[0], ring[2] - ring[0])
        outward = normal @ (ring.mean(axis=0) - corners.mean(axis=0)) > 0.0
        if outward == inward:
            ring = ring[::-1]
        made.append(Patch(f"{owner} {name}", owner, "hard", np.stack([ring[[0, 1, 2]], ring[[0, 2, 3]]])))
    return made


def prism_patches(outline: np.ndarray, height: float) -> list[Patch]:
    """A room over a simple polygon (n, 2), counter-clockwise from above, walls wound toward the inside."""
    polygon = shapely.Polygon(outline)
    flat = [np.asarray(part.exterior.coords)[:3] for part in shapely.constrained_delaunay_triangles(polygon).geoms]
    made = []
    for name, level, up in (("floor", 0.0, True), ("ceiling", height, False)):
        triangles = []
        for three in flat:
            edges = np.diff(three, axis=0)
            upward = edges[0, 0] * edges[1, 1] - edges[0, 1] * edges[1, 0] > 0.0
            ring = np.column_stack([three, np.full(3, level)])
            triangles.append(ring if upward == up else ring[::-1])
        made.append(Patch(name, "room", "hard", np.array(triangles)))
    for number, (a, b) in enumerate(zip(outline, np.roll(outline, -1, axis=0), strict=True)):
        ring = np.array([[*b, 0.0], [*a, 0.0], [*a, height], [*b, height]])
        made.append(Patch(f"wall {number}", "room", "hard", np.stack([ring[[0, 1, 2]], ring[[0, 2, 3]]])))
    return made


def star_outline(rng: np.random.Generator, corners: int, convex: bool) -> np.ndarray:
    """Corners of a room about (3, 3), counter-clockwise: on a circle when convex, else in and out."""
    steps = rng.uniform(0.7, 1.3, corners)
    angle = np.cumsum(steps / steps.sum() * 2.0 * np.pi)
    reach = np.full(corners, 3.0) if convex else rng.uniform(1.6, 3.5, corners)
    return 3.0 + reach[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])


def furnished_room(rng: np.random.Generator, pieces: int) -> list[Patch]:
    """A box room of 5 x 4 x 3 m with random blocks that stand on the floor or hang in the air."""
    patches = box_patches(np.zeros(3), np.array([5.0, 4.0, 3.0]), "room", inward=True)
    for number in range(pieces):
        size = rng.uniform(0.1, 1.2, 3)
        low = rng.uniform(0.1, 0.9, 3) * (np.array([5.0, 4.0, 3.0]) - size)
        if number % 2:
            low[2] = 0.0
        patches.extend(box_patches(low, low + size, f"block {number}"))
    return patches


def in_the_air(room: Room, rng: np.random.Generator, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """A random point that lies in no solid: the windings of all triangles about it add up to one room."""
    while True:
        point = rng.uniform(low, high)
        a, b, c = np.moveaxis(room.triangles - point, 1, 0)
        la, lb, lc = (np.linalg.norm(each, axis=1) for each in (a, b, c))
        above = np.einsum("ij,ij->i", a, np.cross(b, c))
        below = la * lb * lc + np.einsum("ij,ij->i", a, b) * lc
        below += np.einsum("ij,ij->i", b, c) * la + np.einsum("ij,ij->i", c, a) * lb
        if abs(abs(np.arctan2(above, below).sum() / (2.0 * np.pi)) - 1.0) < 1e-6:
            return np.asarray(point)


def cut_finer(patch: Patch, rng: np.random.Generator, times: int) -> Patch:
    """Split triangles at random places of their sides or inside, so that T-junctions arise."""
    triangles = list(patch.triangles)
    for _ in range(times):
        a, b, c = triangles.pop(int(rng.integers(len(triangles))))
        if rng.random() < 0.5:
            middle = a + rng.uniform(0.2, 0.8) * (b - a)
            triangles += [np.stack([a, middle, c]), np.stack([middle, b, c])]
        else:
            fraction = rng.dirichlet(np.ones(3) * 3.0)
            middle = fraction[0] * a + fraction[1] * b + fraction[2] * c
            triangles += [np.stack([a, b, middle]), np.stack([b, c, middle]), np.stack([c, a, middle])]
    return Patch(patch.name, patch.owner, patch.material, np.array(triangles))


def built(patches: list[Patch]) -> Room:
    return build_room(patches)
