"""The outline of the room: walls in order, each fitted to the scan again, made regular where the scan agrees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray
from sim.errors import MeshError
from sim.surveying.scan.cloud import Cloud, peaks
from sim.surveying.scan.lines import WallLine, apart, upright_points
from sim.surveying.scan.plan_cells import GRID_M, line_cover
from sim.surveying.scan.regular_angles import WallDirection, off_square, regular_directions

if TYPE_CHECKING:
    from shapely import Polygon

SHORTEST_M: Final = 0.16
NECK_M: Final = 1.1
"""A room that is narrower than this somewhere, with much on both sides, is two rooms and a door between them."""
LEAST_ROOM_M2: Final = 3.0
_WHOLE_WALL, _MOSTLY = 0.75, 0.5
"""A wall inside that fills so much of its height, along so much of the room, parts it in two (our choice)."""
_NEAR_M: Final = 0.08
_PATCH_M2: Final = 0.3
LEAST_ANGLE_DEG: Final = 0.25
LEAST_OFFSET_M: Final = 0.006
"""Walls are not surer than this: drift moves and turns whole walls (honest in the rooms of tests/builders)."""
_ALIKE_DEG: Final = 0.8


@printable
@dataclass(frozen=True, slots=True)
class OutlineSide:
    """One wall in the plan.

    Attributes
    ----------
    angle
        Direction of its outward normal, in radians.
    offset
        Distance of its line from zero along that normal, in metres.
    area_m2
        Surface of the scan that lies on it.
    offset_error_m, angle_error_rad
        Standard uncertainties.
    doubled_m
        Distance of a second layer; 0 when there is none.
    off_square_rad
        How far it was from square before that was taken for granted, or still is.
    direction, turned_rad
        What its direction was made, and by how much it was turned for that.
    """

    angle: float
    offset: float
    area_m2: float
    offset_error_m: float
    angle_error_rad: float
    doubled_m: float = 0.0
    off_square_rad: float = 0.0
    direction: WallDirection = "as scanned"
    turned_rad: float = 0.0

    @property
    def normal(self) -> FloatArray:
        """Outward unit vector (2,)."""
        return np.array([np.cos(self.angle), np.sin(self.angle)])


def outline_sides(parts: Sequence[Polygon], cloud: Cloud, lines: Sequence[WallLine], where: str) -> list[OutlineSide]:
    """Walls of the room, counter-clockwise from above.

    Raises
    ------
    MeshError
        If there is no closed room, or there are two.
    """
    room = _one_room(parts, cloud, lines, where)
    sides = _merged(_sides_of(room))
    for near in (0.14, 0.1, _NEAR_M, _NEAR_M):
        corners = corners_of(sides, where)
        following = np.roll(corners, -1, axis=0)
        sides = [_fitted(side, corners[k], following[k], cloud, None, near) for k, side in enumerate(sides)]
    sides = _regular(sides, corners_of(sides, where), cloud)
    corners_of(sides, where)
    return sides


def _one_room(parts: Sequence[Polygon], cloud: Cloud, lines: Sequence[WallLine], where: str) -> Polygon:
    if not parts or parts[0].area < LEAST_ROOM_M2:
        raise MeshError(
            where, "no walls that close a room were found: an object, or outdoors", "scan a whole room from inside"
        )
    large = [part.area for part in parts if part.area > max(LEAST_ROOM_M2, 0.2 * parts[0].area)]
    if len(large) < 2:
        apart_ones = parts[0].buffer(-0.5 * NECK_M)
        large = [part.area for part in getattr(apart_ones, "geoms", [apart_ones]) if part.area > 1.2]
    if len(large) > 1 or _partition(parts[0], cloud, lines):
        raise MeshError(
            where,
            f"there are {max(len(large), 2)} rooms in it, joined by no more than a doorway",
            "cut the scan to the room with the monitors, or scan that one alone",
        )
    return parts[0]


def _partition(room: Polygon, cloud: Cloud, lines: Sequence[WallLine]) -> bool:
    """Whether a wall from floor to ceiling runs through the room and leaves much on both sides."""
    import shapely
    import shapely.ops

    standing, angles = upright_points(cloud)
    inner: Any = room.buffer(-0.25)
    for line in lines:
        along = np.array([-line.normal[1], line.normal[0]])
        ends = line.offset * line.normal + np.array([[-60.0], [60.0]]) * along
        cut = shapely.LineString(ends)
        chord = inner.intersection(cut)
        sides = [part.area for part in shapely.ops.split(room, cut).geoms]
        if chord.length < 0.5 or len([area for area in sides if area > LEAST_ROOM_M2]) < 2:
            continue
        covered, start = line_cover(line, standing, angles, cloud)
        middles = start + GRID_M * (np.arange(len(covered)) + 0.5)
        on_it = line.offset * line.normal + middles[:, None] * along
        within = shapely.dwithin(chord, shapely.points(on_it), 0.01)
        if float((covered[within] > _WHOLE_WALL).sum()) * GRID_M > _MOSTLY * chord.length:
            return True
    return False


def _sides_of(room: Polygon) -> list[OutlineSide]:
    """Sides of a polygon as lines, counter-clockwise, sides in one line joined."""
    import shapely

    plain: Any = room.simplify(0.01)
    corners = np.asarray(plain.exterior.coords)[:-1]
    if not shapely.is_ccw(plain.exterior):
        corners = corners[::-1]
    return [_through(corners[k], corners[(k + 1) % len(corners)]) for k in range(len(corners))]


def _through(start: FloatArray, end: FloatArray) -> OutlineSide:
    along = (end - start) / np.linalg.norm(end - start)
    normal = np.array([along[1], -along[0]])
    return OutlineSide(float(np.arctan2(normal[1], normal[0])), float(normal @ start), 0.0, 0.0, 0.0)


def _merged(sides: list[OutlineSide]) -> list[OutlineSide]:
    """Leave out sides too short to be walls, and join what then lies in one line."""
    while len(sides) > 3:
        corners = _corners(sides)
        lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
        count = len(sides)
        short = int(np.argmin(lengths))
        if lengths[short] < SHORTEST_M:
            before, after = (short - 1) % count, (short + 1) % count
            gone = {short}
            if _parallel(sides[before], sides[after]):
                gone.add(before if lengths[before] < lengths[after] else after)
            sides = [side for k, side in enumerate(sides) if k not in gone]
            continue
        same = [k for k in range(count) if _parallel(sides[k], sides[(k + 1) % count])]
        if not same:
            break
        one, two = same[0], (same[0] + 1) % count
        gone = {one if lengths[one] < lengths[two] else two}
        sides = [side for k, side in enumerate(sides) if k not in gone]
    return sides


def _parallel(one: OutlineSide, two: OutlineSide) -> bool:
    return bool(apart(one.angle, two.angle) < np.radians(10.0))


def _corners(sides: Sequence[OutlineSide]) -> FloatArray:
    """Corner k is where side k - 1 meets side k."""
    found = []
    for before, side in zip([sides[-1], *sides[:-1]], sides, strict=True):
        both = np.stack([before.normal, side.normal])
        if abs(float(np.linalg.det(both))) < 0.05:
            both = both + 0.05 * np.array([[0.0, 0.0], [-both[0, 1], both[0, 0]]])
        found.append(np.linalg.solve(both, [before.offset, side.offset]))
    return np.array(found)


def corners_of(sides: Sequence[OutlineSide], where: str) -> FloatArray:
    """Corners (n, 2) of the outline, side k running from corner k to the next.

    Raises
    ------
    MeshError
        If the walls do not close a simple outline.
    """
    import shapely

    corners = _corners(sides)
    room = shapely.Polygon(corners) if len(corners) > 2 else shapely.Polygon()
    if len(corners) < 3 or not room.is_valid or room.area < LEAST_ROOM_M2:
        raise MeshError(
            where, "the walls that were found do not close a room", "scan the missing walls too, or measure the room"
        )
    return corners


def _fitted(
    side: OutlineSide, start: FloatArray, end: FloatArray, cloud: Cloud, angle: float | None, near: float = _NEAR_M
) -> OutlineSide:
    """Fit a side to the upright surface near it, with its direction free or given."""
    along = (end - start) / np.linalg.norm(end - start)
    standing, angles = upright_points(cloud)
    plan = standing.points[:, :2]
    place, length = (plan - start) @ along, float(np.linalg.norm(end - start))
    margin = min(0.12, 0.2 * length)
    aligned = (apart(angles, side.angle) < np.radians(18.0)) & (place > margin) & (place < length - margin)
    distance = plan @ side.normal - side.offset
    chosen = aligned & (np.abs(distance) < near)
    area = float(standing.weights[chosen].sum())
    if area < 0.1:
        return replace(side, angle=side.angle if angle is None else angle, offset_error_m=0.05, angle_error_rad=0.05)
    tilt, level = 0.0, 0.0
    weight = standing.weights * chosen
    middle = float(np.average(place, weights=weight))
    turned = 0.0 if angle is None else float(np.mod(angle - side.angle + np.pi, 2.0 * np.pi) - np.pi)
    for _ in range(4):
        if angle is None:
            spread = float(np.average((place - middle) ** 2, weights=weight))
            tilt = float(np.average((place - middle) * distance, weights=weight)) / max(spread, 1e-9)
        else:
            tilt = float(np.tan(turned))
        level = float(np.average(distance - tilt * (place - middle), weights=weight))
        rest = distance - level - tilt * (place - middle)
        weight = standing.weights * aligned * np.maximum(1.0 - (rest / near) ** 2, 0.0) ** 2
        middle = float(np.average(place, weights=weight))
    scatter = float(np.sqrt(np.average(rest**2, weights=weight)))
    patches = max(area / _PATCH_M2, 1.0)
    reach = float(np.sqrt(np.average((place - middle) ** 2, weights=weight)))
    # the normal points outward, and along is a quarter turn ahead of it: a rise along the side turns it backward
    new_angle = side.angle - float(np.arctan(tilt)) if angle is None else angle
    normal = np.array([np.cos(new_angle), np.sin(new_angle)])
    foot = start + middle * along + (side.offset - start @ side.normal + level) * side.normal
    return OutlineSide(
        new_angle,
        float(normal @ foot),
        area,
        float(np.hypot(scatter / np.sqrt(patches), LEAST_OFFSET_M)),
        float(np.hypot(scatter / max(reach, 0.05) / np.sqrt(patches), np.radians(LEAST_ANGLE_DEG))),
        _second_layer(distance[aligned] - level, standing.weights[aligned]),
    )


def _second_layer(distance: FloatArray, weights: FloatArray) -> float:
    """How far a second layer lies from the first, of those that hold at least a quarter as much."""
    near = np.abs(distance) < 0.2
    places, areas = peaks(distance[near], weights[near], 0.005, 0.012)
    strong = areas > 0.25 * float(areas.max(initial=0.0))
    others = np.abs(places[strong] - places[0]) if len(places) else np.zeros(0)
    return float(others[others > 0.03].min(initial=np.inf)) if (others > 0.03).any() else 0.0


def _regular(sides: list[OutlineSide], corners: FloatArray, cloud: Cloud) -> list[OutlineSide]:
    """Make square, 45 degrees or alike what is so within its uncertainty, all about one direction."""
    main, following = main_direction(sides), np.roll(corners, -1, axis=0)
    angles, errors = (np.array([getattr(side, key) for side in sides]) for key in ("angle", "angle_error_rad"))
    given = regular_directions(angles, errors, np.linalg.norm(following - corners, axis=1), main)
    found = []
    for number, (side, one) in enumerate(zip(sides, given, strict=True)):
        off = off_square(side.angle, main)
        if one.kind != "as scanned":
            side = replace(
                _fitted(side, corners[number], following[number], cloud, one.angle),
                angle_error_rad=side.angle_error_rad,
            )
        found.append(replace(side, off_square_rad=off, direction=one.kind, turned_rad=one.turned))
    return found


def main_direction(sides: Sequence[OutlineSide]) -> float:
    """The direction that most walls have, counted modulo a quarter turn, in radians."""
    weights = np.array([side.area_m2 / max(side.angle_error_rad, 1e-3) ** 2 for side in sides])
    angles = np.array([side.angle for side in sides])
    off = np.mod(angles[:, None] - angles + 0.25 * np.pi, 0.5 * np.pi) - 0.25 * np.pi
    near = np.abs(off) < np.radians(_ALIKE_DEG)
    best = int(np.argmax(weights @ near))  # not the mean: one wall that is not square would turn all the others
    return float(angles[best] + np.average(off[near[:, best], best], weights=weights[near[:, best]]))
