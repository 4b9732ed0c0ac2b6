"""Rooms over a floor outline: upright walls, a flat ceiling, and sloped planes that cut it.

The room is what lies above the floor and below every ceiling plane, so its ceiling height at a place in the
plan is the lowest of a few linear functions.  Each ceiling face is the part of the plan where its plane is the
lowest.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.records import FloorCorner
from sim.blueprint.room import Room, Slope
from sim.errors import SceneError
from sim.geometry.patches import Face, compass_name, numbered, polygons_of

if TYPE_CHECKING:
    from shapely import Polygon

BEHIND_WALL_M = 1e-3
"""The plan may reach this far behind a wall with a slope before the slope counts as cutting another part."""
SAME_LEVEL_M = 1e-7


@dataclass(frozen=True, slots=True)
class _CeilingPlane:
    """Height in metres above a place in the plan: constant + slope . (depth, across)."""

    name: str
    constant: float
    slope: FloatArray

    def height(self, plan: FloatArray) -> FloatArray:
        return np.asarray(self.constant + plan @ self.slope, dtype=np.float64)


def faces_over_plan(room: Room) -> tuple[Face, ...]:
    """Return the faces of a box or outline room: walls in order, floor, ceiling, slopes.

    Walls take `wall_names` in the order of the outline's sides.  Without names each wall is called after the
    direction it lies in ("front wall", "left wall"); of several in one direction the longest keeps the bare
    name and the others are numbered from 2 by falling length.

    Raises
    ------
    SceneError
        If the outline crosses itself, or a slope names no wall, cuts nothing, or would cut behind its wall.
    """
    corners, given_names, height = _plan(room)
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.linalg.norm(sides, axis=1)
    # Counter-clockwise from above, the room lies left of each side and the outward direction to the right.
    outward = np.column_stack([sides[:, 1], -sides[:, 0], np.zeros(len(sides))]) / lengths[:, None]
    names = given_names or numbered([compass_name(each) for each in outward], lengths.tolist())
    planes = [_CeilingPlane("ceiling", height, np.zeros(2))]
    planes += [_slope_plane(slope, corners, outward, names, height) for slope in room.slopes]

    faces = [
        _wall(name, start, side, float(length), out, planes)
        for name, start, side, length, out in zip(names, corners, sides, lengths, outward, strict=True)
    ]
    up, depth, across = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    plan = _polygon(corners)
    faces.append(Face("floor", "floor", np.zeros(3), depth, across, up, (plan,)))
    for plane, region in zip(planes, _lowest_regions(plan, planes), strict=True):
        if not region and plane.name != "ceiling":
            raise SceneError(
                f'room.slopes "{plane.name}"',
                "the slope cuts nothing off the room",
                "lower starts_at_height, or leave the slope out",
            )
        if region:
            first, second = depth + plane.slope[0] * up, across + plane.slope[1] * up
            inward = -np.cross(first, second)
            faces.append(Face(plane.name, "ceiling", plane.constant * up, first, second, inward, region))
    return tuple(faces)


def _plan(room: Room) -> tuple[FloatArray, list[str] | None, float]:
    """Corners (n, 2) counter-clockwise from above, wall names in their order if known, and the flat height."""
    if room.box is not None:
        depth, width = room.box.depth, room.box.width
        corners = np.array([[0.0, 0.0], [depth, 0.0], [depth, width], [0.0, width]])
        return corners, ["left wall", "rear wall", "right wall", "front wall"], room.box.height
    outline: tuple[FloorCorner, ...] = room.outline or ()
    corners = np.array([[corner.from_front, corner.from_left] for corner in outline])
    names = list(room.wall_names) if room.wall_names is not None else None
    following = np.roll(corners, -1, axis=0)
    short = np.linalg.norm(following - corners, axis=1) < 1e-3
    if short.any():
        raise SceneError(
            f"room.outline[{int(np.argmax(short))}]",
            "this corner and the next are the same point",
            "write each corner once; the last side closes the outline by itself",
        )
    polygon = _polygon(corners)
    if not polygon.is_valid or polygon.area < 0.01:
        raise SceneError(
            "room.outline",
            "it encloses no floor" if polygon.is_valid else "its sides cross or touch each other",
            "go around the floor once, corner by corner",
        )
    doubled_area = float(np.sum(corners[:, 0] * following[:, 1] - corners[:, 1] * following[:, 0]))
    if doubled_area < 0.0:
        corners = corners[::-1].copy()
        # Reversed, side k runs between what were corners n-1-k and n-2-k: the old side n-2-k.
        names = names and [names[len(names) - 2 - k] for k in range(len(names))]
    return corners, names, float(room.height or 0.0)


def _slope_plane(
    slope: Slope, corners: FloatArray, outward: FloatArray, names: Sequence[str], height: float
) -> _CeilingPlane:
    where = f'room.slopes "{slope.name}"'
    if slope.wall not in names:
        walls = ", ".join(f'"{name}"' for name in names)
        raise SceneError(f"{where}: wall", f'no wall is called "{slope.wall}"', f"the walls are {walls}")
    if slope.starts_at_height >= height:
        raise SceneError(
            f"{where}: starts_at_height",
            f"{slope.starts_at_height:.2f} m is not below the flat ceiling at {height:.2f} m",
            "lower it, or leave the slope out",
        )
    index = list(names).index(slope.wall)
    inward = -outward[index, :2]
    distance = (corners - corners[index]) @ inward
    if distance.min() < -BEHIND_WALL_M:
        raise SceneError(
            f"{where}: wall",
            f'the room goes on {-distance.min():.2f} m behind the line of "{slope.wall}", '
            "where the slope would sink toward the floor",
            "start the slope on an outermost wall, or give the room as a mesh",
        )
    steepness = float(np.tan(np.radians(slope.angle_deg))) * inward
    return _CeilingPlane(slope.name, slope.starts_at_height - float(corners[index] @ steepness), steepness)


def _wall(
    name: str,
    start: FloatArray,
    side: FloatArray,
    length: float,
    outward: FloatArray,
    planes: Sequence[_CeilingPlane],
) -> Face:
    """Build one upright wall; its upper edge follows whichever ceiling plane is lowest there."""
    unit = side / length
    constants = np.array([float(plane.height(start)) for plane in planes])
    rises = np.array([float(plane.slope @ unit) for plane in planes])
    stations = {0.0, length}
    for a, b in itertools.combinations(range(len(planes)), 2):
        if abs(rises[a] - rises[b]) > 1e-12:
            station = float((constants[b] - constants[a]) / (rises[a] - rises[b]))
            lowest = float(np.min(constants + rises * station))
            crosses_at_top = constants[a] + rises[a] * station <= lowest + SAME_LEVEL_M
            if SAME_LEVEL_M < station < length - SAME_LEVEL_M and crosses_at_top:
                stations.add(station)
    along = np.array(sorted(stations))[::-1]
    top = np.min(constants[:, None] + rises[:, None] * along, axis=0)
    outline = np.concatenate([[[0.0, 0.0], [length, 0.0]], np.column_stack([along, top])])
    origin, first = np.array([start[0], start[1], 0.0]), np.array([unit[0], unit[1], 0.0])
    return Face(name, "walls", origin, first, np.array([0.0, 0.0, 1.0]), -outward, (_polygon(outline),))


def _lowest_regions(plan: Polygon, planes: Sequence[_CeilingPlane]) -> list[tuple[Polygon, ...]]:
    """Part of the plan where each plane is the lowest; of two equal planes the first one counts."""
    regions: list[tuple[Polygon, ...]] = []
    for own, plane in enumerate(planes):
        region: Any = plan
        for other, rival in enumerate(planes):
            if other == own:
                continue
            slope = rival.slope - plane.slope
            excess = rival.constant - plane.constant
            if np.linalg.norm(slope) < 1e-12:
                if excess < 0.0 or (excess == 0.0 and other < own):
                    region = region.intersection(_polygon(np.zeros((3, 2))))
                continue
            region = region.intersection(_half_plane(excess, slope, plan))
        regions.append(polygons_of(region))
    return regions


def _half_plane(constant: float, slope: FloatArray, plan: Polygon) -> Polygon:
    """Return a large rectangle where constant + slope . p is positive."""
    steepness = float(np.linalg.norm(slope))
    direction = slope / steepness
    middle = np.asarray(plan.centroid.coords)[0]
    foot = middle - direction * (constant + float(slope @ middle)) / steepness
    across = np.array([-direction[1], direction[0]])
    reach = 10.0 * (float(np.linalg.norm(foot - middle)) + float(plan.length))
    near, far = foot - reach * across, foot + reach * across
    return _polygon(np.stack([near, far, far + reach * direction, near + reach * direction]))


def _polygon(corners: FloatArray) -> Polygon:
    import shapely

    return shapely.Polygon(corners)
