"""Where upright surfaces stand in the plan of a scan: lines, found direction by direction, offset by offset."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.surveying.scan.cloud import Cloud, peaks

UPRIGHT: Final = 0.35
"""Normals that rise less than this belong to upright surfaces."""
MOST_VARIATION: Final = 0.2
"""Two layers of a wall 8 cm apart vary less than this, corners and clutter more."""
LEAST_WALL_M2: Final = 0.5
ALIKE_DEG: Final = 12.0
MOST_LINES: Final = 36


@dataclass(frozen=True, slots=True)
class WallLine:
    """A line in the plan: direction of its normal in radians, its distance from zero along it, area that lies on it."""

    angle: float
    offset: float
    area_m2: float

    @property
    def normal(self) -> FloatArray:
        """Unit vector (2,) square to the line."""
        return np.array([np.cos(self.angle), np.sin(self.angle)])

    def distances(self, plan: FloatArray) -> FloatArray:
        """Signed distance of points (n, 2)."""
        return np.asarray(plan @ self.normal - self.offset)


def upright_points(cloud: Cloud) -> tuple[Cloud, FloatArray]:
    """What stands upright, and the direction of its normal in the plan, in radians, modulo half a turn."""
    standing = cloud.chosen((np.abs(cloud.normals[:, 2]) < UPRIGHT) & (cloud.variation < MOST_VARIATION))
    return standing, np.mod(np.arctan2(standing.normals[:, 1], standing.normals[:, 0]), np.pi)


def apart(one: FloatArray | float, two: FloatArray | float) -> FloatArray:
    """Angle between directions that count modulo half a turn, in radians, 0 to a quarter turn."""
    return np.abs(np.mod(np.asarray(one) - two + 0.5 * np.pi, np.pi) - 0.5 * np.pi)


def wall_lines(cloud: Cloud) -> list[WallLine]:
    """All lines with enough upright surface on them, the largest first; furniture has lines too."""
    standing, angles = upright_points(cloud)
    plan, weights = standing.points[:, :2], standing.weights
    left = np.ones(len(plan), dtype=bool)
    found: list[WallLine] = []
    for _ in range(8):
        direction = _likeliest(angles[left], weights[left])
        if direction is None:
            break
        fits = left & (apart(angles, direction) < np.radians(ALIKE_DEG))
        normal = np.array([np.cos(direction), np.sin(direction)])
        offsets, areas = peaks(plan[fits] @ normal, weights[fits], 0.01, 0.022)
        taken: list[float] = []
        for offset, area in zip(offsets.tolist(), areas.tolist(), strict=True):
            if area > LEAST_WALL_M2 and all(abs(offset - other) > 0.07 for other in taken):
                taken.append(offset)
                found.append(WallLine(direction, offset, area))
        explained = fits & (np.abs(plan @ normal - np.array(taken)[:, None]).min(axis=0, initial=9.0) < 0.08)
        if not explained.any():
            left &= ~fits
        left &= ~explained
    found.sort(key=lambda line: -line.area_m2)
    return found[:MOST_LINES]


def _likeliest(angles: FloatArray, weights: FloatArray) -> float | None:
    """Direction in which most surface looks; None when too little is left."""
    bins = np.bincount((np.degrees(angles).astype(np.int64)) % 180, weights, 180)
    smooth = np.sum([np.roll(bins, step) for step in range(-4, 5)], axis=0)
    best = int(np.argmax(smooth))
    if smooth[best] < LEAST_WALL_M2:
        return None
    middle = np.radians(best + 0.5)
    near = apart(angles, middle) < np.radians(6.0)
    doubled = np.exp(2j * angles[near]) @ weights[near]
    return float(np.mod(0.5 * np.angle(doubled), np.pi))
