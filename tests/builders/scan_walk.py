"""A phone carried through an invented room: depth pictures, their noise, holes and drift, made a mesh or points.

Independent of `sim`.  Each picture becomes its own patch of triangles, so that what is seen twice is there twice, a
few centimetres apart: the doubled walls of real scans.  Noise is partly smooth over the picture, as that of phones is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.builders.scanned_rooms import Array, InventedRoom, cast

FARTHEST_M = 5.0
"""Depth sensors of phones end about here (from memory)."""


@dataclass(frozen=True)
class Walk:
    """How the room is scanned: pictures, their size, noise in metres, drift, holes.

    Drift is threefold: all lengths are off by up to this fraction, the place slips by this fraction of the way walked,
    always much the same way, and the phone turns by up to a tenth of it in radians for each metre.
    """

    pictures: int = 48
    across: int = 72
    down: int = 54
    noise_m: float = 0.015
    drift: float = 0.005
    holes: float = 0.04
    seed: int = 1


@dataclass(frozen=True)
class Scan:
    """Corners (n, 3), triangles (m, 3), and the turn and shift that took room coordinates to these corners."""

    corners: Array
    triangles: np.ndarray
    turn: Array
    shift: Array
    scale: float


def scanned(room: InventedRoom, walk: Walk, *, yaw_deg: float = 0.0, up: str = "+z", unit_m: float = 1.0) -> Scan:
    """Walk through the room once round, and write what was seen in the axes and the unit asked for."""
    rng = np.random.default_rng(walk.seed)
    corners, triangles, known = [], [], 0
    places = _places(room, walk.pictures)
    slip, heading, turned = np.zeros(3), rng.uniform(0.0, 2.0 * math.pi), 0.0
    scale, veer = 1.0 + walk.drift * rng.uniform(-1.0, 1.0), 0.1 * walk.drift * rng.uniform(-1.0, 1.0)
    for number, place in enumerate(places):
        step = float(np.linalg.norm(place - places[number - 1])) if number else 0.0
        heading += rng.normal(0.0, 0.15)
        turned += veer * step
        slip = slip + walk.drift * step * np.array([math.cos(heading), math.sin(heading), 0.3 * math.sin(heading)])
        seen, faces = _picture(room, walk, rng, place, number)
        wrung = np.array(
            [[math.cos(turned), -math.sin(turned), 0.0], [math.sin(turned), math.cos(turned), 0.0], [0, 0, 1]]
        )
        corners.append(scale * (seen - place) @ wrung.T + scale * place + slip)
        triangles.append(faces + known)
        known += len(seen)
    points = np.concatenate(corners)
    yaw = math.radians(yaw_deg)
    turn = np.array([[math.cos(yaw), -math.sin(yaw), 0.0], [math.sin(yaw), math.cos(yaw), 0.0], [0.0, 0.0, 1.0]])
    if up == "+y":
        turn = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]) @ turn
    elif up == "+x":
        turn = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]) @ turn
    shift = np.array([0.7, -1.3, 0.4])
    return Scan((points @ turn.T + shift) / unit_m, np.concatenate(triangles), turn, shift, unit_m)


def _places(room: InventedRoom, count: int) -> Array:
    """Once round, half-way between the middle and the corners, never in a wall or a cupboard."""
    middle = room.corners.mean(axis=0)
    stops = middle + 0.45 * (room.corners - middle)
    fraction = np.linspace(0.0, len(stops), count, endpoint=False)
    first = fraction.astype(int)
    plan = stops[first] + (fraction - first)[:, None] * (stops[(first + 1) % len(stops)] - stops[first])
    tops = np.min([(c - plan @ n[:2]) / n[2] for n, c in room.ceilings()], axis=0)
    places = np.column_stack([plan, np.minimum(1.45, tops - 0.25)])
    free = room.inside(plan)
    for low, high in room.furniture:
        free &= ~((places > np.array(low) - 0.05) & (places < np.array(high) + 0.05)).all(axis=1)
    return places[free]


def _picture(
    room: InventedRoom, walk: Walk, rng: np.random.Generator, place: Array, number: int
) -> tuple[Array, np.ndarray]:
    middle = room.corners.mean(axis=0)
    outward = place[:2] - middle
    azimuth = math.atan2(outward[1], outward[0]) + (0.0, 0.9, -0.9, math.pi)[number % 4]
    pitch = math.radians((0.0, 38.0, -38.0, 12.0, -20.0)[number % 5]) + rng.normal(0.0, 0.05)
    forward = np.array([math.cos(azimuth) * math.cos(pitch), math.sin(azimuth) * math.cos(pitch), math.sin(pitch)])
    right = np.array([math.sin(azimuth), -math.cos(azimuth), 0.0])
    over = np.cross(right, forward)
    u = np.tan(np.radians(36.0)) * np.linspace(-1.0, 1.0, walk.across)
    v = np.tan(np.radians(29.0)) * np.linspace(-1.0, 1.0, walk.down)
    grid = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)
    directions = forward + grid[:, :1] * right + grid[:, 1:] * over
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    met = cast(room, place, directions)
    gone = ~np.isfinite(met.distance) | (met.distance > FARTHEST_M) | (met.cosine < 0.2)
    distance = np.where(np.isfinite(met.distance), met.distance, 0.0)
    for blind in room.blinds:
        there = (met.wall == blind.wall) & (met.along > blind.along[0]) & (met.along < blind.along[1])
        there &= (met.up > blind.up[0]) & (met.up < blind.up[1])
        if blind.kind == "mirror":  # what stands before the mirror seems to stand behind it
            distance[there] += 1.2
        else:
            gone |= there
    white, smooth = rng.normal(size=distance.shape), _smooth(rng, walk)
    distance = distance + walk.noise_m * (0.5 * white + 0.85 * smooth)
    gone |= _smooth(rng, walk) > _quantile(walk.holes)
    points = place + distance[:, None] * directions
    index = np.arange(walk.down * walk.across).reshape(walk.down, walk.across)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    spread = np.ptp(distance[faces], axis=1)
    kept = faces[~gone[faces].any(axis=1) & (spread < 0.06 + 0.08 * distance[faces].mean(axis=1))]
    used, numbers = np.unique(kept, return_inverse=True)
    return points[used], numbers.reshape(-1, 3)


def _smooth(rng: np.random.Generator, walk: Walk) -> Array:
    """Noise of unit spread that changes slowly over the picture."""
    coarse = rng.normal(size=(8, 10))
    down, across = np.linspace(0.0, 6.999, walk.down), np.linspace(0.0, 8.999, walk.across)
    i, j = down.astype(int)[:, None], across.astype(int)[None, :]
    s, t = down[:, None] - i, across[None, :] - j
    mixed = (
        (1 - s) * (1 - t) * coarse[i, j]
        + (1 - s) * t * coarse[i, j + 1]
        + s * (1 - t) * coarse[i + 1, j]
        + s * t * coarse[i + 1, j + 1]
    )
    return (mixed / 0.667).ravel()


def _quantile(share: float) -> float:
    """Where a normal number of spread 1 is exceeded with this chance, roughly."""
    return float("inf") if share <= 0.0 else math.sqrt(-2.0 * math.log(2.0 * share)) if share < 0.3 else 0.5


# Written as files, by hand.


def write_obj(scan: Scan, path: Path) -> Path:
    with path.open("w", encoding="ascii") as file:
        np.savetxt(file, scan.corners, fmt="v %.5f %.5f %.5f")
        np.savetxt(file, scan.triangles + 1, fmt="f %d %d %d")
    return path


def write_ply(scan: Scan, path: Path, faces: bool = True) -> Path:
    head = f"ply\nformat binary_little_endian 1.0\nelement vertex {len(scan.corners)}\n"
    head += "".join(f"property float {axis}\n" for axis in "xyz")
    if faces:
        head += f"element face {len(scan.triangles)}\nproperty list uchar int vertex_indices\n"
    body = scan.corners.astype("<f4").tobytes()
    if faces:
        rows = np.zeros(len(scan.triangles), dtype=[("n", "u1"), ("corner", "<i4", 3)])
        rows["n"], rows["corner"] = 3, scan.triangles
        body += rows.tobytes()
    path.write_bytes(f"{head}end_header\n".encode() + body)
    return path


def write_glb(scan: Scan, path: Path) -> Path:
    import trimesh

    mesh = trimesh.Trimesh(scan.corners, scan.triangles, process=False)
    path.write_bytes(trimesh.exchange.gltf.export_glb(trimesh.Scene(mesh)))
    return path
