"""What of each surface was seen and how far the scan lies from it; holes that hide nothing are for the person."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.surveying.scan.blocks import wall_distances
from sim.surveying.scan.ceilings import FoundCeiling, distance_into
from sim.surveying.scan.cloud import Cloud
from sim.surveying.scan.records import NotSeen, ScannedBlock, SurfaceDistances

SQUARE_M: Final = 0.1
NEAR_M: Final = 0.12
FAR_M: Final = 0.2
LEAST_HOLE_M2: Final = 0.2
LEAST_HOLE_M: Final = 0.3
HIDES_M: Final = 0.7
"""A block so near to a wall hides what is behind it."""


def wall_map(name: str, wall: int, cloud: Cloud, corners: FloatArray, ceiling: FoundCeiling) -> SurfaceDistances:
    """Mean distance of the scan from a wall, square by square."""
    start, end = corners[wall], corners[(wall + 1) % len(corners)]
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    place, into = (cloud.points[:, :2] - start) @ along, distance_into(corners, wall, cloud.points[:, :2])
    steps = max(int(np.ceil(length / SQUARE_M - 0.2)), 1)
    middles = start + (np.arange(steps)[:, None] + 0.5) * SQUARE_M * along
    tops = ceiling.heights(corners, middles)
    levels = max(int(np.ceil(ceiling.height_m / SQUARE_M - 0.2)), 1)
    inside = (np.arange(levels) + 0.5)[None, :] * SQUARE_M < tops[:, None]
    faces = np.abs(cloud.normals[:, :2] @ np.array([-along[1], along[0]])) > 0.8
    near = (np.abs(into) < NEAR_M) & faces & (place > 0.0) & (place < length)
    return SurfaceDistances(name, SQUARE_M, _means(place[near], cloud.points[near, 2], into[near], inside), inside)


def level_map(
    name: str,
    off: FloatArray,
    cloud: Cloud,
    corners: FloatArray,
    inside_of: np.ndarray | None = None,
    *,
    level: bool = True,
) -> SurfaceDistances:
    """Mean distance from floor, ceiling or a slope in the plan; `off` is that of every point (n,), into the room.

    A surface that is not `level` also takes points whose normals lean.
    """
    import shapely

    low, high = corners.min(axis=0), corners.max(axis=0)
    counts = np.ceil((high - low) / SQUARE_M - 0.2).astype(int)
    i, j = np.indices(counts)
    middles = low + SQUARE_M * (np.stack([i.ravel(), j.ravel()], axis=1) + 0.5)
    inside = shapely.contains_xy(shapely.Polygon(corners), middles[:, 0], middles[:, 1]).reshape(counts)
    if inside_of is not None:
        inside &= inside_of.reshape(counts).astype(bool)
    near = (np.abs(off) < NEAR_M) & (np.abs(cloud.normals[:, 2]) > (0.8 if level else 0.2))
    plan = cloud.points[near, :2] - low
    return SurfaceDistances(name, SQUARE_M, _means(plan[:, 0], plan[:, 1], off[near], inside), inside)


def plan_middles(corners: FloatArray) -> FloatArray:
    """Middles (n, 2) of the squares of the plan, as `level_map` has them."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    i, j = np.indices(np.ceil((high - low) / SQUARE_M - 0.2).astype(int))
    return np.asarray(low + SQUARE_M * (np.stack([i.ravel(), j.ravel()], axis=1) + 0.5))


def _means(first: FloatArray, second: FloatArray, values: FloatArray, inside: np.ndarray) -> FloatArray:
    sums, counts = np.zeros(inside.shape), np.zeros(inside.shape)
    index = np.stack([first, second], axis=1) / SQUARE_M
    place = np.clip(index.astype(int), 0, np.array(inside.shape) - 1)
    np.add.at(sums, tuple(place.T), values)
    np.add.at(counts, tuple(place.T), 1.0)
    with np.errstate(invalid="ignore"):
        return np.where(inside & (counts > 0.0), sums / np.maximum(counts, 1.0), np.nan)


def seen_fraction(found: SurfaceDistances) -> float:
    """How much of a surface was seen, gaps of one square closed."""
    return float((_closed(found) & found.inside).sum()) / max(int(found.inside.sum()), 1)


def _closed(found: SurfaceDistances) -> np.ndarray:
    from scipy import ndimage

    seen = np.pad(np.isfinite(found.distance_m) | ~found.inside, 2, constant_values=True)
    return np.asarray(ndimage.binary_closing(seen, np.ones((2, 2), dtype=bool)))[2:-2, 2:-2]


def not_seen(
    wall: int,
    found: SurfaceDistances,
    cloud: Cloud,
    corners: FloatArray,
    blocks: Sequence[ScannedBlock],
) -> list[NotSeen]:
    """Parts of a wall without depth: behind which block, or a hole that a window, door or mirror may be."""
    from scipy import ndimage

    start, end = corners[wall], corners[(wall + 1) % len(corners)]
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    missing = found.inside & ~_closed(found)
    parts: list[NotSeen] = []
    for block in blocks:
        hidden = missing & _shadow(block, start, along, wall, corners, found)
        area = float(hidden.sum()) * SQUARE_M**2
        if area >= 0.5 * LEAST_HOLE_M2:
            parts.append(_part(found.name, hidden, area, length, block.name))
        missing = missing & ~hidden
    labels, count = ndimage.label(missing)
    for number in range(1, count + 1):
        hole = labels == number
        area = float(hole.sum()) * SQUARE_M**2
        part = _part(found.name, hole, area, length, "")
        sizes = (part.along_m[1] - part.along_m[0], part.up_m[1] - part.up_m[0])
        if area >= LEAST_HOLE_M2 and min(sizes) >= LEAST_HOLE_M - 0.01 and area > 0.5 * sizes[0] * sizes[1]:
            beyond = _goes_on(part, cloud, start, along, wall, corners)
            parts.append(NotSeen(part.wall, part.along_m, part.up_m, area, "", beyond))
    return parts


def _shadow(
    block: ScannedBlock, start: FloatArray, along: FloatArray, wall: int, corners: FloatArray, found: SurfaceDistances
) -> np.ndarray:
    """Squares of a wall that a block near it hides from somebody who stands in the room."""
    low, high = np.array(block.low_m), np.array(block.high_m)
    plan = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    gap = float(distance_into(corners, wall, plan).min())
    reach = (plan - start) @ along
    steps, levels = found.inside.shape
    shape = np.zeros((steps, levels), dtype=bool)
    if gap > (0.1 if block.table else HIDES_M):
        return shape
    place, height = (np.arange(steps) + 0.5) * SQUARE_M, (np.arange(levels) + 0.5) * SQUARE_M
    wide = (place > reach.min() - 0.15) & (place < reach.max() + 0.15)
    tall = height > low[2] - 0.15 if block.kind == "beam" else height < high[2] + 0.15
    return np.asarray(wide[:, None] & tall[None, :])


def _part(name: str, squares: np.ndarray, area: float, length: float, behind: str) -> NotSeen:
    along, up = np.flatnonzero(squares.any(axis=1)), np.flatnonzero(squares.any(axis=0))
    ends = (along[0] * SQUARE_M, min((along[-1] + 1) * SQUARE_M, length))
    return NotSeen(
        name,
        (round(float(ends[0]), 3), round(float(ends[1]), 3)),
        (round(float(up[0] * SQUARE_M), 3), round(float((up[-1] + 1) * SQUARE_M), 3)),
        area,
        behind,
    )


def _goes_on(part: NotSeen, cloud: Cloud, start: FloatArray, along: FloatArray, wall: int, corners: FloatArray) -> bool:
    """Whether the scan holds something behind a hole."""
    place = (cloud.points[:, :2] - start) @ along
    behind = -distance_into(corners, wall, cloud.points[:, :2])
    there = (place > part.along_m[0]) & (place < part.along_m[1]) & (behind > NEAR_M) & (behind < 3.0)
    return float(cloud.weights[there].sum()) > 0.15 * part.area_m2


def distances_to_scene(
    cloud: Cloud, corners: FloatArray, ceiling: FoundCeiling, blocks: Sequence[ScannedBlock]
) -> FloatArray:
    """Distance (n,) of points from the nearest surface of the scene."""
    import shapely

    points, plan = cloud.points, cloud.points[:, :2]
    heights = ceiling.heights(corners, plan)
    walls = wall_distances(plan, corners).min(axis=1)
    over = np.maximum(points[:, 2] - heights, 0.0)
    under = np.maximum(-points[:, 2], 0.0)
    nearest = np.hypot(walls, np.maximum(over, under))
    beside = np.where(shapely.contains_xy(shapely.Polygon(corners), plan[:, 0], plan[:, 1]), 0.0, walls)
    nearest = np.minimum(nearest, np.hypot(beside, np.abs(points[:, 2])))
    tilt = np.ones(len(points))
    for slope in ceiling.slopes:
        on_it = slope.heights(distance_into(corners, slope.wall, plan)) <= heights + 1e-9
        tilt[on_it] = np.cos(slope.angle)
    nearest = np.minimum(nearest, np.hypot(beside, np.abs(points[:, 2] - heights) * tilt))
    for block in blocks:
        low, high = np.array(block.low_m), np.array(block.high_m)
        outside = np.linalg.norm(np.maximum(np.maximum(low - points, points - high), 0.0), axis=1)
        depth = np.minimum(points - low, high - points).min(axis=1)
        nearest = np.minimum(nearest, np.where(outside > 0.0, outside, np.abs(depth)))
    return np.asarray(nearest, dtype=np.float64)
