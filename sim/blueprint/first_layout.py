"""Where monitors, desk and seat of a first scene go until somebody measures them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from sim.blueprint.first_places import LEVEL_M, free_stretches
from sim.blueprint.first_room import DESK_TOP_M, EAR_UP_M, MONITORS, SEAT_FRACTION, FirstRoom, refuse_impossible
from sim.errors import SceneError

_LEAST_HALF_BASE_M: Final = 0.30
_WIDEST_BASE_M: Final = 1.5
_AS_WIDE: Final = 0.9
"""Of lines that leave room for monitors nearly as wide apart, the front one is taken (our choice)."""
BUILT_IN_M: Final = 0.02
"""How far before its wall the acoustic axis of a monitor that is built in lies."""


@dataclass(frozen=True, slots=True)
class FirstLayout:
    """Where things go, in metres: seat, line of the monitors, half their distance, desk."""

    middle: float
    ear: float
    front: float
    half_base: float
    desk: tuple[float, float]
    desk_half: float


def laid_out(room: FirstRoom) -> FirstLayout:
    """Put monitors, desk and seat where they fit: an equilateral triangle as far as the room allows.

    Raises
    ------
    SceneError
        If nothing fits below the slopes or beside the missing corner.
    """
    refuse_impossible(room)
    monitor = MONITORS[room.monitor]
    on_desk = room.monitors_on == "desk"
    axis = DESK_TOP_M + monitor.axis_up_m if on_desk else EAR_UP_M
    over = axis + monitor.height_m - monitor.axis_up_m + 0.05

    def inset(side: str, height: float) -> float:
        """How far from a wall the ceiling is this high."""
        for slope in room.slopes:
            if slope.side == side:
                return max(0.0, (height - slope.knee_m) * slope.run_m / (room.height_m - slope.knee_m))
        return 0.0

    if room.walls:
        return _measured(room, _in_outline(room, over))
    corner, wide, deep = room.corner or ("", 0.0, 0.0)
    left, right = wide * (corner == "front left"), room.width_m - wide * (corner == "front right")
    middle = 0.5 * (left + right)

    def half(height: float) -> float:
        """Half the width that is free at a height, to both sides of the middle."""
        return min(
            middle - max(left, inset("left", height)), min(right, room.width_m - inset("right", height)) - middle
        )

    in_cut = (corner == "rear left" and middle < wide) or (corner == "rear right" and middle > room.width_m - wide)
    depth = room.depth_m - deep * in_cut
    behind = max(0.35, monitor.depth_m + 0.12) + inset("front", over)
    last = min(depth, room.depth_m - inset("rear", EAR_UP_M + 0.15)) - 0.5
    return _measured(room, _Free(middle, half(DESK_TOP_M + 0.02), half(over), 0.0, depth, behind, last))


@dataclass(frozen=True, slots=True)
class _Free:
    """What is free in front of the seat, in metres.

    Attributes
    ----------
    middle
        Where the seat's line is, from the left wall.
    at_desk, at_monitors
        Half the width that is free at the height of the desk, and over the monitors.
    start, depth
        Where the room begins on the seat's line, from the front wall, and its depth from there.
    behind, last
        How near to the front wall monitors may be, and how far from it the ear.
    """

    middle: float
    at_desk: float
    at_monitors: float
    start: float
    depth: float
    behind: float
    last: float

    def ear(self, behind: float) -> float:
        """Where the ear is at first, with monitors no nearer to the front wall than this."""
        return min(max(self.start + SEAT_FRACTION * self.depth, behind + 0.75), self.last)


def _in_outline(room: FirstRoom, over: float) -> _Free:
    """What is free in a room of any outline, behind that line across it which leaves the widest place for monitors.

    Lines through its corners are tried, so that a bay in front is left to itself where monitors do not fit into it.
    """
    outline = [(ahead, across) for _, ahead, across in room.outline()]
    first, last = min(ahead for ahead, _ in outline), max(ahead for ahead, _ in outline)
    fronts = sorted({round(ahead, 6) for ahead, _ in outline if ahead < first + 0.5 * (last - first)})
    tried = [_behind(room, over, front, last) for front in fronts]
    bases = [_base(one, _WIDEST_BASE_M, one.ear(one.behind), one.behind, 0.0) for one in tried]
    return next(one for one, base in zip(tried, bases, strict=True) if base >= _AS_WIDE * max(bases))


def _behind(room: FirstRoom, over: float, front: float, rear: float) -> _Free:
    """What is free behind a line across the plan: along lines across, and along the one of the seat."""
    rows = [front + 0.3 + step * 0.1 * (0.45 * (rear - front) - 0.3) for step in range(11)]
    acrosses = [across for _, _, across in room.outline()]

    def common(height: float, holds: float | None) -> tuple[float, float]:
        left, right = min(acrosses), max(acrosses)
        for ahead in rows:
            free = free_stretches(room, 1, ahead, height)
            if not free:
                continue  # below a slope that nothing fits under
            near = [one for one in free if holds is not None and one[0] <= holds <= one[1]]
            best = max(near or free, key=lambda one: one[1] - one[0])
            left, right = max(left, best[0]), min(right, best[1])
        return left, right

    middle = room.seat[1] if room.seat is not None else 0.5 * sum(common(over, None))
    halves = [min(middle - left, right - middle) for left, right in (common(DESK_TOP_M, middle), common(over, middle))]
    ways = [free_stretches(room, 0, middle, height) for height in (over, EAR_UP_M + 0.15)]
    (near, _), (start, end) = (next(((a, b) for a, b in way if b > front + LEVEL_M), (rear, rear)) for way in ways)
    gap = max(0.35, MONITORS[room.monitor].depth_m + 0.12)
    start = max(start, front)
    return _Free(middle, halves[0], halves[1], start, end - start, max(near, front) + gap, end - 0.5)


def _base(free: _Free, widest: float, ear: float, behind: float, moved: float) -> float:
    """How far apart monitors can be: not near the walls beside them, in an equilateral triangle with the ear."""
    return min(widest, 0.9 * (free.at_monitors - moved), (ear - behind) / 0.866)


def _measured(room: FirstRoom, free: _Free) -> FirstLayout:
    """The layout in what is free, as far as nobody measured it."""
    monitor = MONITORS[room.monitor]
    on_desk, built_in = room.monitors_on == "desk", room.monitors_on == "built in"
    middle = room.seat[1] if room.seat is not None else free.middle
    moved = abs(middle - free.middle)
    behind = free.behind if not built_in else free.start
    ear = room.seat[0] if room.seat is not None else free.ear(behind)
    desk_half = min(0.8, free.at_desk - moved - 0.1)
    widest = min(1.1, 2.0 * (desk_half - 0.28)) if on_desk else _WIDEST_BASE_M
    half_base = 0.5 * _base(free, widest, ear, behind, moved)
    if room.monitors is not None:
        (left, right) = room.monitors
        half_base = 0.5 * abs(right[1] - left[1])
    if (half_base < _LEAST_HALF_BASE_M and room.monitors is None) or (
        desk_half < _LEAST_HALF_BASE_M and room.desk is None
    ):
        what = (
            "--slope" if room.slopes else "--cut-corner" if room.corner else "--box" if not room.walls else "--height"
        )
        raise SceneError(
            what,
            "no room is left for two monitors, a desk and a seat facing the front wall",
            "check the lengths, face another wall, or choose a smaller --model",
        )
    front = free.start + BUILT_IN_M if built_in else ear - 2.0 * half_base * 0.866
    if room.monitors is not None:
        front = 0.5 * (room.monitors[0][0] + room.monitors[1][0])
    near_edge = ear - 0.30
    far_edge = front - monitor.depth_m - 0.05 if on_desk else max(front + 0.10, near_edge - 0.70)
    return FirstLayout(middle, ear, front, half_base, (max(far_edge, free.start + 0.02), near_edge), desk_half)
