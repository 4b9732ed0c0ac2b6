"""The ceiling of a scan: its height, and slopes that start on a wall and rise into the room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.errors import MeshError
from sim.surveying.scan.cloud import Cloud, peaks
from sim.surveying.scan.plan_cells import PlanGrid

LEAST_HEIGHT_M: Final = 1.6
LEAST_LEVEL_M2: Final = 0.8
LEAST_SLOPE_M2: Final = 1.2
LEAST_ALONG: Final = 0.4
"""A slope runs along at least this fraction of its wall."""
LEAST_OVERHEAD: Final = 0.2
_SLOPES_DEG: Final = (12.0, 78.0)
_PATCH_M2: Final = 0.3
_NEAR_M: Final = 0.08


@dataclass(frozen=True, slots=True)
class FoundSlope:
    """Number of the wall it starts on, height there in metres, steepness in radians, uncertainties, area."""

    wall: int
    knee_m: float
    angle: float
    error_m: float
    angle_error: float
    area_m2: float

    def heights(self, into: FloatArray) -> FloatArray:
        """Height at distances from its wall into the room."""
        return np.asarray(self.knee_m + np.tan(self.angle) * into)


@dataclass(frozen=True, slots=True)
class FoundCeiling:
    """Height of the ceiling or the ridge, its uncertainty, whether it is level somewhere, and the slopes."""

    height_m: float
    error_m: float
    flat: bool
    slopes: tuple[FoundSlope, ...]

    def heights(self, corners: FloatArray, plan: FloatArray) -> FloatArray:
        """Height of the ceiling above places (n, 2)."""
        lowest = np.full(len(plan), self.height_m)
        for slope in self.slopes:
            lowest = np.minimum(lowest, slope.heights(distance_into(corners, slope.wall, plan)))
        return lowest


def distance_into(corners: FloatArray, wall: int, plan: FloatArray) -> FloatArray:
    """How far places (n, 2) are from the line of a wall, into the room."""
    start, end = corners[wall], corners[(wall + 1) % len(corners)]
    along = (end - start) / np.linalg.norm(end - start)
    return np.asarray((plan - start) @ np.array([-along[1], along[0]]))


def refuse_open_sky(grid: PlanGrid, where: str) -> None:
    """Refuse a scan with nothing overhead.

    Raises
    ------
    MeshError
        If less than a fifth of what has a floor has something over it.
    """
    there = grid.evidence > -0.5
    if float(grid.overhead.sum()) < LEAST_OVERHEAD * float(max(there.sum(), 1)):
        raise MeshError(
            where,
            "there is next to nothing overhead: it is outdoors, an object, or the ceiling was not scanned",
            "scan the ceiling too",
        )


def find_ceiling(cloud: Cloud, corners: FloatArray, where: str) -> FoundCeiling:
    """Find the level ceiling and the slopes over an outline.

    Raises
    ------
    MeshError
        If there is neither.
    """
    import shapely

    outline = shapely.Polygon(corners)
    inside = shapely.contains_xy(outline, cloud.points[:, 0], cloud.points[:, 1])
    above = cloud.chosen(inside & (cloud.points[:, 2] > 0.4) & (cloud.variation < 0.12))
    slopes = [
        slope
        for wall in range(len(corners))
        if float(distance_into(corners, wall, corners).min()) > -0.03
        and (slope := _slope_over(above, corners, wall)) is not None
    ]
    level = (np.abs(above.normals[:, 2]) > 0.966) & (above.points[:, 2] > LEAST_HEIGHT_M)
    heights, areas = peaks(above.points[level, 2], above.weights[level], 0.01, 0.025)
    if len(areas) and float(areas.max()) > LEAST_LEVEL_M2:
        best = float(heights[int(np.argmax(areas))])
        best, error = _level_height(above, level, best)
        kept = [slope for slope in slopes if slope.knee_m < best - 0.1]
        return FoundCeiling(best, error, True, tuple(kept))
    if not slopes:
        raise MeshError(where, "no ceiling was found over the walls", "scan the ceiling too")
    ridge = _highest(slopes, corners)
    return FoundCeiling(ridge, max(slope.error_m for slope in slopes), False, tuple(slopes))


def _level_height(above: Cloud, level: np.ndarray, height: float) -> tuple[float, float]:
    for _ in range(3):
        near = level & (np.abs(above.points[:, 2] - height) < _NEAR_M)
        height = float(np.average(above.points[near, 2], weights=above.weights[near]))
    scatter = float(np.sqrt(np.average((above.points[near, 2] - height) ** 2, weights=above.weights[near])))
    patches = max(float(above.weights[near].sum()) / _PATCH_M2, 1.0)
    return height, float(np.hypot(scatter / np.sqrt(patches), 0.004))


def _slope_over(above: Cloud, corners: FloatArray, wall: int) -> FoundSlope | None:
    """The largest slope that rises from one wall into the room."""
    start, end = corners[wall], corners[(wall + 1) % len(corners)]
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    inward = np.array([-along[1], along[0]])
    upward = above.normals * np.where(above.normals[:, 2:] < 0.0, -1.0, 1.0)
    level = upward[:, :2]
    size = np.maximum(np.linalg.norm(level, axis=1), 1e-9)
    steepness = np.arctan2(size, upward[:, 2])
    faces = (level @ -inward) / size > np.cos(np.radians(15.0))
    low, high = np.radians(_SLOPES_DEG)
    chosen = faces & (steepness > low) & (steepness < high)
    if float(above.weights[chosen].sum()) < LEAST_SLOPE_M2:
        return None
    into, height = (above.points[:, :2] - start) @ inward, above.points[:, 2]
    angles, _ = peaks(steepness[chosen], above.weights[chosen], np.radians(0.5), np.radians(2.5))
    angle = float(angles[0])
    near = chosen & (np.abs(steepness - angle) < np.radians(10.0))
    places, areas = peaks(height[near] * np.cos(angle) - into[near] * np.sin(angle), above.weights[near], 0.01, 0.025)
    if not len(areas):
        return None
    level_at = float(places[0])
    for _ in range(6):  # total least squares on what lies near, again and again
        off = height * np.cos(angle) - into * np.sin(angle) - level_at
        near = chosen & (np.abs(off) < _NEAR_M) & (np.abs(steepness - angle) < np.radians(15.0))
        weight = above.weights[near]
        if float(weight.sum()) < LEAST_SLOPE_M2:
            return None
        up_it = into[near] * np.cos(angle) + height[near] * np.sin(angle)
        middle = float(np.average(up_it, weights=weight))
        spread = float(np.average((up_it - middle) ** 2, weights=weight))
        turned = float(np.average((up_it - middle) * off[near], weights=weight)) / max(spread, 1e-6)
        shift = float(np.average(off[near], weights=weight))
        pivot_into = middle * np.cos(angle) - (level_at + shift) * np.sin(angle)
        pivot_up = middle * np.sin(angle) + (level_at + shift) * np.cos(angle)
        angle += float(np.arctan(turned))
        level_at = pivot_up * float(np.cos(angle)) - pivot_into * float(np.sin(angle))
    area = float(weight.sum())
    reach = (above.points[near, :2] - start) @ along
    if np.ptp(reach) < LEAST_ALONG * length:
        return None
    scatter, patches = float(np.sqrt(np.average(off[near] ** 2, weights=weight))), max(area / _PATCH_M2, 1.0)
    error = float(np.hypot(scatter / np.sqrt(patches), 0.004))
    angle_error = float(np.hypot(error / max(np.sqrt(spread), 0.05), np.radians(0.2)))
    return FoundSlope(wall, max(level_at / float(np.cos(angle)), 0.02), angle, error, angle_error, area)


def _highest(slopes: list[FoundSlope], corners: FloatArray) -> float:
    """Where slopes that have no level ceiling between them are highest: the ridge, or the far wall of a single one."""
    import shapely

    outline = shapely.Polygon(corners)
    low, high = corners.min(axis=0), corners.max(axis=0)
    steps = [np.linspace(low[axis], high[axis], 201) for axis in range(2)]
    plan = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 2)
    plan = np.vstack([plan[shapely.contains_xy(outline, plan[:, 0], plan[:, 1])], corners])
    lowest = np.min([slope.heights(distance_into(corners, slope.wall, plan)) for slope in slopes], axis=0)
    return float(lowest.max())
