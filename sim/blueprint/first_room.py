"""What a first scene is made of, by tape, and where its monitors, desk and seat go until somebody measures them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from sim.blueprint.error_messages import shown
from sim.blueprint.room import LARGEST_ROOM_M
from sim.errors import SceneError

SEAT_FRACTION: Final = 0.38
"""Ear at this share of the depth: a start only (common practice, no source)."""
SMALLEST_M: Final = {"width": 1.6, "depth": 2.0, "height": 1.8}
"""Below this, desk, loudspeakers and seat do not fit."""
EAR_UP_M: Final = 1.20
DESK_TOP_M: Final = 0.74
MOST_SLOPES: Final = 2
CORNERS: Final = ("front left", "front right", "rear left", "rear right")
SIDES: Final = ("front", "rear", "left", "right")
PLACES: Final = ("stands", "desk")
_LEAST_HALF_BASE_M: Final = 0.30
_LEFT_OF_A_SIDE_M: Final = 0.5
"""An L-shape leaves at least this much of each wall."""


@dataclass(frozen=True, slots=True)
class UsualMonitor:
    """A usual size of loudspeaker, as the kinds of the catalogue have it, or given by [models].

    Attributes
    ----------
    model
        What a loudspeaker's `model` says.
    depth_m, axis_up_m, height_m
        Depth of the cabinet, its acoustic axis above its bottom, and its height.
    own
        (width in metres, mass in kg, crossover in Hz) where it needs an entry in [models]; else None.
    """

    model: str
    depth_m: float
    axis_up_m: float
    height_m: float
    own: tuple[float, float, int] | None = None


MONITORS: Final = {
    "5-inch": UsualMonitor("two-way", 0.23, 0.22, 0.29),
    "8-inch": UsualMonitor("8-inch", 0.33, 0.296, 0.39, (0.25, 11.0, 1900)),
    "three-way": UsualMonitor("three-way", 0.36, 0.375, 0.49),
    "coaxial": UsualMonitor("coaxial", 0.30, 0.175, 0.35),
}
"""Usual sizes of cabinets (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class FirstSlope:
    """A sloped ceiling as a tape has it, in metres.

    Attributes
    ----------
    side
        "front", "rear", "left" or "right": the wall it starts on.
    knee_m
        How high that wall is below it.
    run_m
        How far from that wall, along the floor, the ceiling is level again.
    wall
        Name of that wall where it is not called after its side.
    """

    side: str
    knee_m: float
    run_m: float
    wall: str = ""


@dataclass(frozen=True, slots=True)
class FirstOpening:
    """A window or door: kind, the side its wall is on, along the wall from and to, lower and upper edge in metres."""

    kind: str
    side: str
    along_m: tuple[float, float]
    up_m: tuple[float, float]


@dataclass(frozen=True, slots=True)
class FirstRoom:
    """A room as one would tell it, lengths in metres.

    Attributes
    ----------
    width_m, depth_m, height_m
        Inside sizes of the box that holds the room.
    corner
        For an L-shape the corner of that box that is missing, its width and its depth; None: a box.
    slopes
        Sloped ceilings, two at most.
    monitors_on
        "stands" or "desk".
    monitor
        A name of `MONITORS`.
    openings
        Windows and doors.
    second_seat
        Ear of a second seat: from_front, from_left, up; None: there is none.
    walls
        For any outline: name of each wall and the corner (from_front, from_left) it starts at, once round.
    """

    width_m: float
    depth_m: float
    height_m: float
    corner: tuple[str, float, float] | None = None
    slopes: tuple[FirstSlope, ...] = ()
    monitors_on: str = "stands"
    monitor: str = "5-inch"
    openings: tuple[FirstOpening, ...] = ()
    second_seat: tuple[float, float, float] | None = None
    walls: tuple[tuple[str, float, float], ...] = ()

    def outline(self) -> list[tuple[str, float, float]]:
        """Name of each wall and the corner (from_front, from_left) it starts at, left wall first."""
        if self.walls:
            return list(self.walls)
        depth, width = self.depth_m, self.width_m
        corners = {"front left": (0.0, 0.0), "rear left": (depth, 0.0), "rear right": (depth, width)}
        corners["front right"] = (0.0, width)
        sides = zip(("left wall", "rear wall", "right wall", "front wall"), corners.items(), strict=True)
        found = []
        for wall, (name, (ahead, across)) in sides:
            if self.corner is None or self.corner[0] != name:
                found.append((wall, ahead, across))
                continue
            _, wide, deep = self.corner
            inner = (deep if ahead == 0.0 else ahead - deep, wide if across == 0.0 else across - wide)
            on_side, on_end = (inner[0], across), (ahead, inner[1])
            if name in ("rear left", "front right"):  # the wall before this corner runs along the depth
                found += [("corner end wall", *on_side), ("corner side wall", *inner), (wall, *on_end)]
            else:
                found += [("corner side wall", *on_end), ("corner end wall", *inner), (wall, *on_side)]
        return found


@dataclass(frozen=True, slots=True)
class FirstLayout:
    """Where things go, in metres: seat, line of the monitors, half their distance, desk."""

    middle: float
    ear: float
    front: float
    half_base: float
    desk: tuple[float, float]
    desk_half: float


def refuse_impossible(room: FirstRoom) -> None:
    """Raise SceneError, in the words of the options, for what no room can be."""
    for key, size in (("width", room.width_m), ("depth", room.depth_m), ("height", room.height_m)):
        if not SMALLEST_M[key] <= size <= LARGEST_ROOM_M:
            raise SceneError(
                f"--box, {key}",
                f"it is {size:g} m",
                f"give between {SMALLEST_M[key]:g} m and {LARGEST_ROOM_M:g} m, and check the unit",
            )
    for option, value, known in (
        ("--monitors-on", room.monitors_on, PLACES),
        ("--model", room.monitor, tuple(MONITORS)),
        *(("--slope", slope.side, SIDES) for slope in room.slopes),
        *((f"--{opening.kind}", opening.side, SIDES) for opening in room.openings),
        *(("--cut-corner", corner, CORNERS) for corner in (room.corner or ())[:1]),
    ):
        if value not in known:
            raise SceneError(option, f"it is {shown(value)}", f"choose one of {', '.join(known)}")
    if room.corner is not None:
        for key, size, whole in (("width", room.corner[1], room.width_m), ("depth", room.corner[2], room.depth_m)):
            if not 0.1 <= size <= whole - _LEFT_OF_A_SIDE_M:
                most = whole - _LEFT_OF_A_SIDE_M
                raise SceneError(f"--cut-corner, {key}", f"it is {size:g} m", f"give between 0.1 m and {most:g} m")
    if len(room.slopes) > MOST_SLOPES or len({slope.side for slope in room.slopes}) < len(room.slopes):
        raise SceneError("--slope", f"{len(room.slopes)} are given", "give one or two, each on its own side")
    for slope in room.slopes:
        whole = room.width_m if slope.side in ("left", "right") else room.depth_m
        for key, size, most in (("knee", slope.knee_m, room.height_m - 0.05), ("run", slope.run_m, whole)):
            if not 0.05 <= size <= most:
                raise SceneError(f"--slope {slope.side}, {key}", f"it is {size:g} m", f"give 0.05 m to {most:g} m")
    for opening in room.openings:
        for key, (low, high) in (("along the wall", opening.along_m), ("up", opening.up_m)):
            if not 0.0 <= low < high:
                raise SceneError(
                    f"--{opening.kind} {opening.side}, {key}",
                    f"it runs from {low:g} m to {high:g} m",
                    "give the lower edge first",
                )


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
    ear = min(max(SEAT_FRACTION * depth, behind + 0.75), last)
    desk_half = min(0.8, half(DESK_TOP_M + 0.02) - 0.1)
    widest = min(1.1, 2.0 * (desk_half - 0.28)) if on_desk else 1.5
    half_base = 0.5 * min(widest, 0.9 * half(over), (ear - behind) / 0.866)
    if half_base < _LEAST_HALF_BASE_M or desk_half < _LEAST_HALF_BASE_M:
        what = "--slope" if room.slopes else "--cut-corner" if room.corner else "--box"
        raise SceneError(
            what,
            "no room is left for two monitors, a desk and a seat facing the front wall",
            "check the lengths, face another wall, or choose a smaller --model",
        )
    front = ear - 2.0 * half_base * 0.866
    near_edge = ear - 0.30
    far_edge = front - monitor.depth_m - 0.05 if on_desk else max(front + 0.10, near_edge - 0.70)
    return FirstLayout(middle, ear, front, half_base, (max(far_edge, 0.02), near_edge), desk_half)


def slope_angle_deg(room: FirstRoom, slope: FirstSlope) -> float:
    """Steepness of a slope against the horizontal."""
    return math.degrees(math.atan2(room.height_m - slope.knee_m, slope.run_m))
