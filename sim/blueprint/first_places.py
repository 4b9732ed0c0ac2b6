"""Where things of a first scene lie: below slopes and beside walls that may stand at any angle, in metres."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.blueprint.first_room import FirstBeam, FirstRadiator, FirstRoom
from sim.errors import SceneError

Span = tuple[float, float]
LEVEL_M = 1e-3
"""A wall that leaves its direction by less than this runs along it."""


@dataclass(frozen=True, slots=True)
class FirstBlock:
    """A box: its three spans before it is turned about its middle, counter-clockwise from above, in degrees."""

    from_front_m: Span
    from_left_m: Span
    up_m: Span
    turn_deg: float = 0.0

    @property
    def around_m(self) -> tuple[Span, Span]:
        """From where to where it reaches from the front and from the left once it is turned."""
        cosine, sine = (abs(one(math.radians(self.turn_deg))) for one in (math.cos, math.sin))
        halves = [0.5 * (high - low) for low, high in (self.from_front_m, self.from_left_m)]
        middles = [0.5 * (low + high) for low, high in (self.from_front_m, self.from_left_m)]
        reach = (cosine * halves[0] + sine * halves[1], sine * halves[0] + cosine * halves[1])
        ahead, across = ((middle - half, middle + half) for middle, half in zip(middles, reach, strict=True))
        return ahead, across


@dataclass(frozen=True, slots=True)
class _Incline:
    """Height of a slope above a place: constant + rise[0] from_front + rise[1] from_left."""

    constant: float
    rise: tuple[float, float]

    def at(self, place: tuple[float, float]) -> float:
        return self.constant + self.rise[0] * place[0] + self.rise[1] * place[1]


def _inclines(room: FirstRoom) -> list[_Incline]:
    corners = [(ahead, across) for _, ahead, across in room.outline()]
    middle = (sum(one[0] for one in corners) / len(corners), sum(one[1] for one in corners) / len(corners))
    found = []
    for slope in room.slopes:
        _, start, end = room.wall(slope.side)
        run = (end[0] - start[0], end[1] - start[1])
        length = math.hypot(*run)
        normal = (-run[1] / length, run[0] / length)
        inward = math.copysign(1.0, (middle[0] - start[0]) * normal[0] + (middle[1] - start[1]) * normal[1])
        steep = inward * (room.height_m - slope.knee_m) / slope.run_m
        rise = (steep * normal[0], steep * normal[1])
        found.append(_Incline(slope.knee_m - rise[0] * start[0] - rise[1] * start[1], rise))
    return found


def ceiling_m(room: FirstRoom, from_front: float, from_left: float) -> float:
    """Height of the ceiling above a place in the plan."""
    return min([room.height_m, *(one.at((from_front, from_left)) for one in _inclines(room))])


def free_stretches(room: FirstRoom, axis: int, at: float, height: float) -> list[Span]:
    """Return from where to where a line across the plan runs inside the room, below a ceiling of this height at least.

    axis: 0 for a line from front to rear, which lies `at` from the left wall; 1 for one from left to right.
    """
    corners = [(ahead, across) for _, ahead, across in room.outline()]
    crossings = []
    for start, end in zip(corners, [*corners[1:], corners[0]], strict=True):
        low, high = start[1 - axis], end[1 - axis]
        if (low <= at) != (high <= at):
            crossings.append(start[axis] + (end[axis] - start[axis]) * (at - low) / (high - low))
    crossings.sort()
    stretches = list(zip(crossings[::2], crossings[1::2], strict=True))
    for one in _inclines(room):
        excess, rise = one.constant + one.rise[1 - axis] * at - height, one.rise[axis]
        if abs(rise) < 1e-12:
            stretches = stretches if excess >= 0.0 else []
            continue
        edge = -excess / rise
        stretches = [(max(a, edge), b) if rise > 0.0 else (a, min(b, edge)) for a, b in stretches]
    return [(a, b) for a, b in stretches if b - a > LEVEL_M]


def along_wall(room: FirstRoom, side: str, along_m: Span) -> tuple[str, Span]:
    """Return the key ("from_front" or "from_left") and span that say where something lies along a wall.

    In a box and an L-shape lengths along a wall count from the front or left wall of the box; along the walls of any
    other outline from the front end of the wall, or its left end where it runs across.
    """
    _, start, end = room.wall(side)
    run = (end[0] - start[0], end[1] - start[1])
    axis = 0 if abs(run[0]) > abs(run[1]) else 1
    key = ("from_front", "from_left")[axis]
    if not room.walls:
        return key, along_m
    per_metre = run[axis] / math.hypot(*run)
    return key, (start[axis] + per_metre * along_m[0], start[axis] + per_metre * along_m[1])


def radiator_block(room: FirstRoom, radiator: FirstRadiator) -> FirstBlock:
    """Return the box that a radiator takes, from the wall to its face."""
    _, start, end = room.wall(radiator.side)
    run = (end[0] - start[0], end[1] - start[1])
    length = math.hypot(*run)
    unit = (run[0] / length, run[1] / length)
    normal = (-unit[1], unit[0])
    corners = [(ahead, across) for _, ahead, across in room.outline()]
    half = 0.5 * length
    beside = [start[axis] + half * unit[axis] + LEVEL_M * normal[axis] for axis in (0, 1)]
    if not _holds(corners, (beside[0], beside[1])):
        normal = (-normal[0], -normal[1])
    key, span = along_wall(room, radiator.side, radiator.along_m)
    axis = ("from_front", "from_left").index(key)
    low, high = ((value - start[axis]) / unit[axis] for value in span)
    middle = [start[each] + 0.5 * (low + high) * unit[each] + 0.5 * radiator.depth_m * normal[each] for each in (0, 1)]
    long, thick = 0.5 * (high - low), 0.5 * radiator.depth_m
    halves = (long, thick) if axis == 0 else (thick, long)
    spans = [(round(middle[each] - halves[each], 9), round(middle[each] + halves[each], 9)) for each in (0, 1)]
    turn = math.degrees(math.atan2(unit[1], unit[0])) - (0.0 if axis == 0 else 90.0)
    skew = abs(math.sin(math.radians(turn))) * length
    return FirstBlock(spans[0], spans[1], radiator.up_m, round(turn, 2) if skew > LEVEL_M else 0.0)


def beam_block(room: FirstRoom, beam: FirstBeam) -> FirstBlock:
    """Return the box of a beam, which runs as far as the room does at the height of its top.

    Raises
    ------
    SceneError
        If it has no place below the ceiling.
    """
    axis = 1 if beam.direction == "across" else 0
    lines = [beam.between_m[0] + LEVEL_M, 0.5 * sum(beam.between_m), beam.between_m[1] - LEVEL_M]

    def common(height: float) -> Span | None:
        """The longest stretch that is free along both faces and the middle at a height."""
        stretch = None
        for at in lines:
            free = free_stretches(room, axis, at, height)
            if not free:
                return None
            longest = max(free, key=lambda one: one[1] - one[0])
            stretch = longest if stretch is None else (max(stretch[0], longest[0]), min(stretch[1], longest[1]))
        return stretch if stretch is not None and stretch[1] - stretch[0] > LEVEL_M else None

    top = beam.top_m
    if top is None:  # where nothing is level, as along a ridge, it reaches as high as both of its faces allow
        top, low = room.height_m, beam.underside_m
        if common(top) is None and common(low) is not None:
            while top - low > LEVEL_M:
                half = 0.5 * (low + top)
                low, top = (half, top) if common(half) is not None else (low, half)
            top = low
    stretch = common(top)
    if stretch is None or top <= beam.underside_m:
        raise SceneError(
            f"--beam {beam.direction}",
            f"no room is below the ceiling at {top:.2f} m between {beam.between_m[0]:g} m and {beam.between_m[1]:g} m",
            "check its place, or give the height of its top as well",
        )
    between = beam.between_m
    return FirstBlock(stretch if axis == 0 else between, stretch if axis == 1 else between, (beam.underside_m, top))


def _holds(corners: list[tuple[float, float]], place: tuple[float, float]) -> bool:
    """Whether a place lies inside an outline."""
    inside = False
    for start, end in zip(corners, [*corners[1:], corners[0]], strict=True):
        if (start[1] <= place[1]) != (end[1] <= place[1]):
            crossing = start[0] + (end[0] - start[0]) * (place[1] - start[1]) / (end[1] - start[1])
            inside ^= place[0] < crossing
    return inside
