"""What stands in a scanned room: the points that belong to no wall, floor or ceiling, as boxes."""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.surveying.scan.ceilings import FoundCeiling, distance_into
from sim.surveying.scan.cloud import Cloud
from sim.surveying.scan.records import ScannedBlock

AWAY_M: Final = 0.09
"""Nearer to a surface of the room than this, a point belongs to it."""
GRID_M: Final = 0.08
LEAST_SURFACE_M2: Final = 0.12
LEAST_SIZE_M: Final = 0.1
SNAP_M: Final = 0.16
"""A block so near to a wall, floor or ceiling stands against it."""
MOST_BLOCKS: Final = 24
_SMALLER: Final = 0.8
_DEEP_M: Final = 0.13
_MOST_DEEP: Final = 0.2
"""A block is cut in two when more than this of its surface lies deep in the box around it, and the two together have
less of its volume than `_SMALLER`."""
_ROUNDING_M: Final = 0.005


def away_from_room(points: FloatArray, corners: FloatArray, ceiling: FoundCeiling) -> FloatArray:
    """Distance of points (n, 3) inside the room from its walls, floor and ceiling."""
    plan = points[:, :2]
    nearest = np.minimum(points[:, 2], ceiling.height_m - points[:, 2])
    for slope in ceiling.slopes:
        under = slope.heights(distance_into(corners, slope.wall, plan)) - points[:, 2]
        nearest = np.minimum(nearest, under * np.cos(slope.angle))
    return np.asarray(np.minimum(nearest, wall_distances(plan, corners).min(axis=1)), dtype=np.float64)


def wall_distances(plan: FloatArray, corners: FloatArray) -> FloatArray:
    """Distance (n, walls) of places from each wall, as far as it reaches."""
    found = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        side = end - start
        part = np.clip((plan - start) @ side / float(side @ side), 0.0, 1.0)
        found.append(np.linalg.norm(plan - start - part[:, None] * side, axis=1))
    return np.stack(found, axis=1)


def find_blocks(cloud: Cloud, corners: FloatArray, ceiling: FoundCeiling) -> list[ScannedBlock]:
    """Boxes around what stands in the room, the largest first; beams hang from the ceiling."""
    import shapely
    from scipy import ndimage

    inside = shapely.contains_xy(shapely.Polygon(corners), cloud.points[:, 0], cloud.points[:, 1])
    rest = cloud.chosen(inside)
    rest = rest.chosen(away_from_room(rest.points, corners, ceiling) > AWAY_M)
    if not len(rest.points):
        return []
    low = rest.points.min(axis=0)
    index = ((rest.points - low) / GRID_M).astype(int)
    filled = np.zeros(index.max(axis=0) + 1, dtype=bool)
    filled[tuple(index.T)] = True
    labels, count = ndimage.label(filled, np.ones((3, 3, 3)))
    label = labels[tuple(index.T)]
    areas = np.bincount(label, rest.weights, count + 1)
    found: list[tuple[FloatArray, FloatArray, Cloud]] = []
    for number in np.argsort(-areas[1:], kind="stable")[: 2 * MOST_BLOCKS] + 1:
        if areas[number] >= LEAST_SURFACE_M2:
            found += _boxes(rest.chosen(label == number), 3)
    blocks = []
    for box_low, box_high, part in found:
        block = _as_block(box_low, box_high, part, corners, ceiling)
        if block is not None:
            blocks.append(block)
    blocks.sort(key=lambda one: -float(np.prod(np.subtract(one.high_m, one.low_m))))
    return _named(blocks[:MOST_BLOCKS])


def _boxes(part: Cloud, cuts: int) -> list[tuple[FloatArray, FloatArray, Cloud]]:
    """The box around points, or of two boxes around what lies on either side of a cut if they hold much less air."""
    if float(part.weights.sum()) < LEAST_SURFACE_M2:
        return []
    low, high = np.percentile(part.points, [1.0, 99.0], axis=0)
    whole = float(np.prod(np.maximum(high - low, 0.05)))
    depth = np.minimum(part.points[:, :2] - low[:2], high[:2] - part.points[:, :2]).min(axis=1)
    deep = (depth > _DEEP_M) & (high[2] - part.points[:, 2] > _DEEP_M)
    if float(part.weights[deep].sum()) < _MOST_DEEP * float(part.weights.sum()):
        return [(low, high, part)]
    best: tuple[float, np.ndarray] | None = None
    for axis in range(2) if cuts else ():
        for place in np.linspace(low[axis], high[axis], 12)[1:-1]:
            side = part.points[:, axis] < place
            if min(int(side.sum()), int((~side).sum())) < 60:
                continue
            volume = 0.0
            for half in (side, ~side):
                ends = np.percentile(part.points[half], [1.0, 99.0], axis=0)
                volume += float(np.prod(np.maximum(ends[1] - ends[0], 0.05)))
            if volume < _SMALLER * whole and (best is None or volume < best[0]):
                best = (volume, side)
    if best is None:
        return [(low, high, part)]
    return [*_boxes(part.chosen(best[1]), cuts - 1), *_boxes(part.chosen(~best[1]), cuts - 1)]


def _as_block(
    low: FloatArray, high: FloatArray, part: Cloud, corners: FloatArray, ceiling: FoundCeiling
) -> ScannedBlock | None:
    """A box as furniture, set against what it stands against; None when it is too small."""
    if np.sort(high - low)[1] < LEAST_SIZE_M:
        return None
    low, high = low.copy(), high.copy()
    middle = 0.5 * (low + high)[:2]
    top = float(ceiling.heights(corners, middle[None])[0])
    hangs = high[2] > top - SNAP_M and low[2] > 0.55 * top
    if hangs:
        high[2] = top
    table = not hangs and _is_top(low, high, part)
    if table:
        upper = part.points[:, 2] > high[2] - 0.15
        high[2] = float(np.percentile(part.points[upper, 2], 90.0))
        low[2] = high[2] - 0.04
    elif low[2] < 0.35 and not hangs:
        low[2] = 0.0
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        for axis in range(2):
            if abs(start[axis] - end[axis]) > 0.03:
                continue
            other = 1 - axis
            spans = sorted((start[other], end[other]))
            if not spans[0] - 0.05 < middle[other] < spans[1] + 0.05:
                continue
            if abs(low[axis] - start[axis]) < SNAP_M and start[axis] < middle[axis]:
                low[axis] = start[axis]
            if abs(high[axis] - start[axis]) < SNAP_M and start[axis] > middle[axis]:
                high[axis] = start[axis]
    low, high = (np.round(end / _ROUNDING_M) * _ROUNDING_M for end in (low, high))
    if (high - low < 0.02).any():
        return None
    kind = "beam" if hangs else "block"
    return ScannedBlock("", kind, tuple(low.tolist()), tuple(high.tolist()), table)


def _is_top(low: FloatArray, high: FloatArray, part: Cloud) -> bool:
    """Whether next to nothing is below its upper edge: a table, whose legs are thin."""
    if not 0.35 < high[2] < 1.3:
        return False
    width, depth = high[0] - low[0], high[1] - low[1]
    below = part.points[:, 2] < high[2] - 0.15
    sides = 2.0 * (width + depth) * max(high[2] - 0.15 - AWAY_M, 0.05)
    tops = (np.abs(part.normals[:, 2]) > 0.8) & (part.points[:, 2] > high[2] - 0.12)
    return bool(
        float(part.weights[below].sum()) < 0.2 * sides and float(part.weights[tops].sum()) > 0.4 * width * depth
    )


def _named(blocks: list[ScannedBlock]) -> list[ScannedBlock]:
    counts = {"block": 0, "beam": 0}
    found = []
    for block in blocks:
        counts[block.kind] += 1
        name = f"{block.kind} {counts[block.kind]}"
        found.append(ScannedBlock(name, block.kind, block.low_m, block.high_m, block.table))
    return found
