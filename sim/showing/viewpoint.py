"""Where the viewer of a picture in space stands, and the first-order paths drawn in it as lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.arrays import BoolArray, FloatArray
from sim.geometry.room import Room
from sim.responses.records import Arrival, Results
from sim.showing.style import SCALE

DASH_M = 0.12


def first_order(results: Results, listener: int = 0) -> tuple[Arrival, ...]:
    """Arrivals of one mirror at a listener that the scale of levels reaches down to, in the order of the table."""
    name = results.built.listener_names[listener]
    return tuple(
        arrival
        for arrival in results.responses.arrivals
        if arrival.order == 1
        and not arrival.diffracted
        and arrival.listener == name
        and arrival.worst_db >= SCALE.low_db
    )


def path_points(results: Results, arrival: Arrival) -> FloatArray:
    """Corners (k + 2, 3) of the main path of an arrival: driver, what it touches, ear."""
    built = results.built
    one = next(one for one in built.loudspeakers if one.name == arrival.loudspeaker)
    driver = [driver.name for driver in one.model.drivers].index(arrival.main.driver)
    ear = built.ears[built.listener_names.index(arrival.listener)]
    return np.vstack([one.driver_points[driver], arrival.main.points.reshape(-1, 3), ear])


def dashes(points: FloatArray, look_number: int) -> FloatArray:
    """Cut a polyline (k, 3) into pieces (n, 2, 3): whole for the first loudspeaker, shorter dashes for the next."""
    whole = np.stack([points[:-1], points[1:]], axis=1)
    if look_number == 0:
        return whole
    dash = DASH_M / look_number
    pieces = []
    for start, stop in whole:
        length = float(np.linalg.norm(stop - start))
        begins = np.arange(0.0, length, 1.6 * dash)
        spans = np.column_stack([begins, np.minimum(begins + dash, length)]) / (length or 1.0)
        pieces.append(start + spans[:, :, None] * (stop - start))
    return np.concatenate(pieces)


# Where the viewer of a picture in space stands, and where in the picture a point of the room appears.

# Directions from the middle of the room to the viewer, in (depth, across, up); left stays left in all of them,
# because all are behind the seat.
DIRECTIONS = {
    "from above, behind and left": (1.0, -0.62, 0.78),
    "from above, behind and right": (1.0, 0.62, 0.78),
    "from below and behind, floor taken away": (1.0, -0.38, -0.95),
}
SWINGS_DEG = (0.0, 8.0, -8.0, 16.0, -16.0, 24.0, -24.0)
LIFTS_DEG = (0.0, 8.0, -8.0)
"""How far the viewer may step aside from these, and up or down, the least first."""
FLATTEST_DEG = 14.0
"""A slope is seen at this angle where it can be; seen flatter it would be a line."""
LARGE_M2 = 0.5
CLEAR_M = 0.30
"""The ear stands this far beside hotspots of furniture, as the viewer sees it."""
VIEW_ANGLE_DEG = 22.0
MARGIN = 0.055


@dataclass(frozen=True, slots=True)
class Viewpoint:
    """A camera with mild perspective.

    position and focus (3,) in metres; view_angle_deg is the vertical opening; up is always up.
    """

    words: str
    position: FloatArray
    focus: FloatArray
    view_angle_deg: float = VIEW_ANGLE_DEG

    @property
    def directions(self) -> FloatArray:
        """(3, 3) rows: to the right of the picture, up in the picture, into the picture."""
        inward = self.focus - self.position
        inward = inward / np.linalg.norm(inward)
        rightward = np.cross(inward, [0.0, 0.0, 1.0])
        rightward = rightward / np.linalg.norm(rightward)
        return np.stack([rightward, np.cross(rightward, inward), inward])

    def project(self, points: FloatArray, size_px: tuple[int, int]) -> FloatArray:
        """Pixels (n, 2) from the lower left corner, for points (n, 3) and a picture of (width, height)."""
        seen = (np.asarray(points, dtype=np.float64) - self.position) @ self.directions.T
        width, height = size_px
        per_slope = 0.5 * height / np.tan(np.radians(0.5 * self.view_angle_deg))
        middle = np.array([0.5 * width, 0.5 * height])
        return np.asarray(middle + per_slope * seen[:, :2] / seen[:, 2:], dtype=np.float64)

    def faces(self, normals: FloatArray, offsets_m: FloatArray) -> BoolArray:
        """Whether the viewer stands on the air side of planes with normals (n, 3) and offsets (n,)."""
        return np.asarray(normals @ self.position - offsets_m > 0.0)


def stand(
    room: Room, words: str, shape: float, ear: FloatArray | None = None, spots: FloatArray | None = None
) -> Viewpoint:
    """Step back in one of the named directions until the whole room is in a picture of this shape.

    The direction gives way a little where a slope would be seen edge on or the ear would hide a spot.

    Parameters
    ----------
    room
        The room; its own surfaces count, furniture is inside.
    words
        One of `DIRECTIONS`.
    shape
        Width over height of the picture.
    ear, spots
        (3,) and (n, 3): what should not stand before the others.
    """
    corners = room.triangles[room.owner_of_triangle == 0].reshape(-1, 3)
    focus = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
    outward = _outward(room, words, ear, spots)
    reach = float(np.linalg.norm(corners.max(axis=0) - corners.min(axis=0)))
    near, far = reach, 50.0 * reach
    # The picture of the room shrinks steadily with distance, and its middle hardly moves: halve the interval,
    # then turn to the middle of the picture, twice.
    for _ in range(3):
        near, far = reach, 50.0 * reach
        for _ in range(40):
            away = 0.5 * (near + far)
            box = _box(Viewpoint(words, focus + away * outward, focus), corners, shape)
            fits = box[0] >= MARGIN and box[1] >= MARGIN and box[2] <= shape - MARGIN and box[3] <= 1.0 - MARGIN
            near, far = (near, away) if fits else (away, far)
        view = Viewpoint(words, focus + far * outward, focus)
        box = _box(view, corners, shape)
        off = np.array([0.5 * (box[0] + box[2]) - 0.5 * shape, 0.5 * (box[1] + box[3]) - 0.5])
        per_metre = 0.5 / np.tan(np.radians(0.5 * VIEW_ANGLE_DEG)) / far
        focus = focus + (off / per_metre) @ view.directions[:2]
    return Viewpoint(words, focus + far * outward, focus)


def _outward(room: Room, words: str, ear: FloatArray | None, spots: FloatArray | None) -> FloatArray:
    """Unit vector (3,) toward the viewer: the named direction, or the nearest to it that shows slopes and spots."""
    level, across, up = DIRECTIONS[words]
    turn, rise = np.arctan2(across, level), np.arctan2(up, np.hypot(level, across))
    slanting = [
        facet.normal
        for facet in room.facets
        if facet.owner == room.owners[0] and facet.area_m2 > LARGE_M2 and np.abs(facet.normal).max() < 0.99
    ]
    best, least = np.zeros(3), np.inf
    for lift in np.radians(LIFTS_DEG):
        for swing in np.radians(SWINGS_DEG):
            flat = np.array([np.cos(turn + swing), np.sin(turn + swing), 0.0])
            way = np.cos(rise + lift) * flat + np.array([0.0, 0.0, np.sin(rise + lift)])
            cost = 0.05 * (abs(swing) + abs(lift))
            for normal in slanting:
                angle = float(np.degrees(np.arcsin(np.clip(normal @ way, -1.0, 1.0))))  # below 0 it faces away
                cost += float(np.clip(0.5 - 0.5 * angle / FLATTEST_DEG, 0.0, 1.0))
            if ear is not None and spots is not None and len(spots):
                apart = spots - ear
                beside = np.linalg.norm(apart - (apart @ way)[:, None] * way, axis=1)
                cost += float(np.maximum(0.0, CLEAR_M - beside).max()) / CLEAR_M
            if cost < least - 1e-9:
                best, least = way, cost
    return best


def _box(view: Viewpoint, corners: FloatArray, shape: float) -> FloatArray:
    """Left, low, right, high of the corners in a picture one high and `shape` wide."""
    flat = view.project(corners, (1000, 1000)) / 1000.0 + np.array([0.5 * (shape - 1.0), 0.0])
    return np.concatenate([flat.min(axis=0), flat.max(axis=0)])
