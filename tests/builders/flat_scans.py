"""Small scans without a camera: surfaces cut into little squares and shaken; also what is no scan of a room."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.builders.scan_walk import Scan, write_ply
from tests.builders.scanned_rooms import Array, InventedRoom

CELL_M = 0.08


def squares(origin: Array, first: Array, second: Array, cell: float = CELL_M) -> Array:
    """Triangles (n, 3, 3) of a rectangle between two sides, cut into little squares."""
    counts = [max(int(np.linalg.norm(side) / cell), 1) for side in (first, second)]
    i, j = np.meshgrid(*(np.arange(count) for count in counts), indexing="ij")
    corners = np.stack([i, j], axis=-1).reshape(-1, 1, 2) + np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    points = origin + corners[..., :1] / counts[0] * first + corners[..., 1:] / counts[1] * second
    return np.concatenate([points[:, [0, 1, 2]], points[:, [0, 2, 3]]])


def box_squares(low: Array, high: Array, cell: float = CELL_M) -> Array:
    """Triangles of all six sides of a box."""
    found = []
    for axis in range(3):
        first, second = np.zeros(3), np.zeros(3)
        first[(axis + 1) % 3], second[(axis + 2) % 3] = (high - low)[[(axis + 1) % 3, (axis + 2) % 3]]
        up = np.zeros(3)
        up[axis] = (high - low)[axis]
        found += [squares(low, first, second, cell)[:, ::-1], squares(low + up, first, second, cell)]
    return np.concatenate(found)


def room_squares(room: InventedRoom) -> Array:
    """Triangles of walls, floor and level ceiling of a room, no furniture."""
    low, high = room.corners.min(axis=0), room.corners.max(axis=0)
    level = squares(
        np.array([*low, 0.0]), np.array([high[0] - low[0], 0.0, 0.0]), np.array([0.0, high[1] - low[1], 0.0])
    )
    level = level[room.inside(level.mean(axis=1)[:, :2])]
    above = level[:, ::-1] + [0.0, 0.0, room.height]
    walls = [
        squares(np.array([*start, 0.0]), np.array([*(end - start), 0.0]), np.array([0.0, 0.0, room.height]))[:, ::-1]
        for start, end in room.walls
    ]
    return np.concatenate([level, above, *walls])


def shaken(triangles: Array, noise_m: float = 0.005, seed: int = 3) -> Scan:
    """Every corner moved a little."""
    corners, index = np.unique(np.round(triangles.reshape(-1, 3), 5), axis=0, return_inverse=True)
    corners = corners + np.random.default_rng(seed).normal(0.0, noise_m, corners.shape)
    return Scan(corners, index.reshape(-1, 3), np.eye(3), np.zeros(3), 1.0)


def box_room(depth: float = 4.4, width: float = 3.6, height: float = 2.5) -> InventedRoom:
    return InventedRoom("box", np.array([[0.0, 0.0], [depth, 0.0], [depth, width], [0.0, width]]), height)


def two_rooms() -> InventedRoom:
    """Two rooms and the doorway between them, floor, walls and ceiling through all."""
    corners = [
        [0.0, 0.0],
        [4.0, 0.0],
        [4.0, 1.2],
        [4.15, 1.2],
        [4.15, 0.2],
        [7.6, 0.2],
        [7.6, 3.0],
        [4.15, 3.0],
        [4.15, 2.1],
        [4.0, 2.1],
        [4.0, 3.4],
        [0.0, 3.4],
    ]
    return InventedRoom("two rooms", np.array(corners), 2.5)


def outdoors() -> Array:
    """A lawn, one wall of a house and some bushes."""
    lawn = squares(np.zeros(3), np.array([9.0, 0.0, 0.0]), np.array([0.0, 8.0, 0.0]))
    house = squares(np.array([0.0, 8.0, 0.0]), np.array([9.0, 0.0, 0.0]), np.array([0.0, 0.0, 3.0]))
    bushes = [box_squares(np.array([x, 2.0, 0.0]), np.array([x + 0.8, 2.8, 1.1])) for x in (1.0, 4.0, 7.0)]
    return np.concatenate([lawn, house, *bushes])


def loose(count: int, seed: int = 5) -> Scan:
    """Little triangles anywhere in a space as large as a room."""
    rng = np.random.default_rng(seed)
    corners = rng.uniform(0.0, [5.0, 4.0, 2.5], (count, 1, 3)) + rng.normal(0.0, 0.02, (count, 3, 3))
    return Scan(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3), np.eye(3), np.zeros(3), 1.0)


def write_shaken(triangles: Array, path: Path, noise_m: float = 0.005) -> Path:
    return write_ply(shaken(triangles, noise_m), path)
