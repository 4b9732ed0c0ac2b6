"""Closed rooms of triangles for ray tests, and slow twins of the ray queries that look at every triangle."""

from __future__ import annotations

import math

import numba as nb
import numpy as np
from scipy.spatial.transform import Rotation

from sim.rays.wide_tree import build_tree
from tests.geometry.furnished import box_patches, cut_finer, furnished_room, prism_patches, star_outline

INSIDE = np.array([3.0, 3.0, 1.3])
"""A place in the air of every prism room, before it is turned and moved."""


def triangles_of(patches: list) -> np.ndarray:
    return np.concatenate([patch.triangles for patch in patches])


def splayed(rng: np.random.Generator) -> np.ndarray:
    """A box whose eight corners are all moved: walls of two triangles that are no parallelograms, some bent."""
    box = triangles_of(box_patches(np.zeros(3), np.array([6.0, 5.0, 3.0]), "room", inward=True))
    corners, which = np.unique(box.reshape(-1, 3), axis=0, return_inverse=True)
    return (corners + rng.uniform(-0.4, 0.4, corners.shape))[which.ravel()].reshape(-1, 3, 3)


def l_shaped(rng: np.random.Generator) -> np.ndarray:
    x, y = rng.uniform(3.2, 4.5, 2)
    outline = np.array([[0.0, 0.0], [6.0, 0.0], [6.0, y], [x, y], [x, 6.0], [0.0, 6.0]])
    return triangles_of(prism_patches(outline, 2.6))


def with_slivers(rng: np.random.Generator) -> np.ndarray:
    """A prism whose outline has two sides of some 20 micrometres, and columns a tenth of a millimetre thick."""
    outline = star_outline(rng, 8, True)
    outline = np.insert(outline, 3, outline[3] - 2e-5 * (outline[3] - outline[2]), axis=0)
    outline = np.insert(outline, 6, outline[6] - 2e-5 * (outline[6] - outline[5]), axis=0)
    room = prism_patches(outline, 2.6)
    for x in (2.2, 3.9):
        room += box_patches(np.array([x, 2.5, 0.0]), np.array([x + 1e-4, 2.5 + 1e-4, 2.5]), f"column {x}")
    return triangles_of(room)


def closed_rooms(seed: int) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Twenty rooms (name, triangles (n, 3, 3), a place in the air): 12 to some 500 triangles, sides shared exactly."""
    rng = np.random.default_rng(seed)
    made = []
    for k in range(2):
        size = rng.uniform(2.0, 9.0, 3)
        box = triangles_of(box_patches(np.zeros(3), size, "room", inward=True))
        made.append((f"box {k}", box, size * rng.uniform(0.2, 0.8, 3)))
        made.append((f"splayed {k}", splayed(rng), np.array([3.0, 2.5, 1.5])))
        made.append((f"l-shaped {k}", l_shaped(rng), np.array([1.5, 2.0, 1.3])))
        made.append((f"star {k}", triangles_of(prism_patches(star_outline(rng, 9, False), 2.6)), INSIDE))
        made.append((f"furnished {k}", triangles_of(furnished_room(rng, 16)), np.array([0.03, 0.04, 2.97])))
        made.append((f"crowded {k}", triangles_of(furnished_room(rng, 40)), np.array([0.03, 0.04, 2.97])))
        made.append((f"slivers {k}", with_slivers(rng), INSIDE))
    cut = [cut_finer(patch, rng, 8) for patch in furnished_room(rng, 6)]
    made.append(("cut finer", triangles_of(cut), np.array([0.03, 0.04, 2.97])))
    for name, shift in (("turned", 0.0), ("turned and far", 1.0e3), ("turned and very far", 1.0e5)):
        turn = Rotation.random(random_state=int(rng.integers(2**31))).as_matrix()
        move = shift * rng.normal(size=3)
        made.append(
            (name, triangles_of(furnished_room(rng, 18)) @ turn.T + move, np.array([0.03, 0.04, 2.97]) @ turn.T + move)
        )
    for name in ("turned slivers", "turned star"):
        turn = Rotation.random(random_state=int(rng.integers(2**31))).as_matrix()
        room = (
            with_slivers(rng) if "slivers" in name else triangles_of(prism_patches(star_outline(rng, 12, False), 3.0))
        )
        made.append((name, room @ turn.T, INSIDE @ turn.T))
    return made


def rays_of(triangles: np.ndarray, plane: np.ndarray | None = None, owner: np.ndarray | None = None) -> tuple:
    """What `Room.ray_arrays` holds, for bare triangles."""
    none = np.zeros(len(triangles), np.int64)
    plane, owner = none if plane is None else plane, none if owner is None else owner
    return build_tree(triangles, plane, owner).arrays, triangles, plane, owner


@nb.njit(error_model="numpy")
def meet_slowly(px, py, pz, dx, dy, dz, a, b, c):  # type: ignore[no-untyped-def]
    """Return (t, u, v) where p + t d meets the plane of a triangle, by Cramer's rule; inside: u, v, u + v in 0 .. 1."""
    ex, ey, ez = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    fx, fy, fz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    sx, sy, sz = px - a[0], py - a[1], pz - a[2]
    qx, qy, qz = dy * fz - dz * fy, dz * fx - dx * fz, dx * fy - dy * fx
    rx, ry, rz = sy * ez - sz * ey, sz * ex - sx * ez, sx * ey - sy * ex
    inverse = 1.0 / (ex * qx + ey * qy + ez * qz)
    t, v = (fx * rx + fy * ry + fz * rz) * inverse, (dx * rx + dy * ry + dz * rz) * inverse
    return t, (sx * qx + sy * qy + sz * qz) * inverse, v


@nb.njit(error_model="numpy")
def nearest_slowly(points, directions, t_min, t_max, triangles, passed):  # type: ignore[no-untyped-def]
    """Return (t (n,), triangle (n,)) of the first hit of each ray with t_min < t < t_max (n,), all triangles looked at.

    passed: (m,) whether a triangle is passed over.
    """
    n = points.shape[0]
    least, which = np.full(n, math.inf), np.full(n, -1, np.int64)
    for i in range(n):
        px, py, pz = points[i]
        dx, dy, dz = directions[i]
        best = t_max[i]
        for k in range(triangles.shape[0]):
            t, u, v = meet_slowly(px, py, pz, dx, dy, dz, triangles[k, 0], triangles[k, 1], triangles[k, 2])
            inside = u >= -1e-12 and v >= -1e-12 and u + v <= 1.0 + 1e-12
            if inside and t_min < t < best and not passed[k]:
                best, least[i], which[i] = t, t, k
    return least, which


def border_gap_m(triangle: np.ndarray, point: np.ndarray) -> float:
    """Distance from a point to the nearest side of a triangle, in metres."""
    gaps = []
    for a, b in zip(triangle, np.roll(triangle, -1, axis=0), strict=True):
        along = b - a
        fraction = np.clip((point - a) @ along / (along @ along), 0.0, 1.0)
        gaps.append(float(np.linalg.norm(point - a - fraction * along)))
    return min(gaps)
