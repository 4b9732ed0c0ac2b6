"""What a first scene is made of, by tape: shape, slopes, openings, and what stands or hangs in the room."""

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
DIRECTIONS: Final = ("across", "along")
PLACES: Final = ("stands", "desk", "built in")
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
    """

    side: str
    knee_m: float
    run_m: float


@dataclass(frozen=True, slots=True)
class FirstOpening:
    """A window or door: kind, the side its wall is on, along the wall from and to, lower and upper edge in metres."""

    kind: str
    side: str
    along_m: tuple[float, float]
    up_m: tuple[float, float]


@dataclass(frozen=True, slots=True)
class FirstBeam:
    """A beam below the ceiling, in metres.

    Attributes
    ----------
    direction
        "across" from left to right, or "along" from front to rear.
    between_m
        Its two faces: from the front wall for a beam across, from the left wall for one along.
    underside_m, top_m
        Heights; top None: it reaches the ceiling.
    """

    direction: str
    between_m: tuple[float, float]
    underside_m: float
    top_m: float | None = None


@dataclass(frozen=True, slots=True)
class FirstRadiator:
    """A radiator on a wall: its side, along it from and to, lower and upper edge, and how far its face is from it."""

    side: str
    along_m: tuple[float, float]
    up_m: tuple[float, float]
    depth_m: float


@dataclass(frozen=True, slots=True)
class FirstDesk:
    """A desk: far and near edge from the front wall, left and right end from the left wall, height of its top."""

    from_front_m: tuple[float, float]
    from_left_m: tuple[float, float]
    top_m: float


@dataclass(frozen=True, slots=True)
class FirstScreen:
    """A screen: the middle of the lower edge of its face (from_front, from_left, up), width and height."""

    at_m: tuple[float, float, float]
    width_m: float
    height_m: float


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
        "stands", "desk" or "built in" to the front wall.
    monitor
        A name of `MONITORS`.
    openings
        Windows and doors.
    second_seat
        Ear of a second seat: from_front, from_left, up; None: there is none.
    walls
        For any other outline, once round the floor: name of each wall and the corner (from_front, from_left) it
        starts at.  Width and depth are then those of the box round it.
    beams, radiators
        What hangs below the ceiling and on walls.
    seat, monitors, desk, screen
        Ear (from_front, from_left, up), acoustic axes of the left and right monitor (up None: as the desk has it),
        desk and screen where they were measured; None: they go where they fit, and there is no screen.
    tape
        Lines for the scene file that say what was measured and how well it fits together.
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
    beams: tuple[FirstBeam, ...] = ()
    radiators: tuple[FirstRadiator, ...] = ()
    seat: tuple[float, float, float] | None = None
    monitors: tuple[tuple[float, float, float | None], ...] | None = None
    desk: FirstDesk | None = None
    screen: FirstScreen | None = None
    tape: tuple[str, ...] = ()

    @property
    def sides(self) -> tuple[str, ...]:
        """What walls are called in short: "left" for "left wall", "right 2" for "right wall 2"."""
        short = tuple(name.replace(" wall", "", 1) for name, _, _ in self.outline())
        return (*(side for side in SIDES if side in short), *(side for side in short if side not in SIDES))

    @property
    def slope_sides(self) -> tuple[str, ...]:
        """What slopes are called where a window lies in one: "left slope"."""
        return tuple(f"{slope.side} slope" for slope in self.slopes)

    def wall(self, side: str) -> tuple[str, tuple[float, float], tuple[float, float]]:
        """Whole name of the wall on a side, and the corners (from_front, from_left) it runs between.

        The first is its front end, or its left end where it runs across the room.  Of a slope it is the wall below.
        """
        walls, side = self.outline(), side.removesuffix(" slope")
        for (name, *start), (_, *end) in zip(walls, [*walls[1:], walls[0]], strict=True):
            if name.replace(" wall", "", 1) == side:
                ends = [(start[0], start[1]), (end[0], end[1])]
                run = 0 if abs(end[0] - start[0]) > abs(end[1] - start[1]) else 1
                first, last = sorted(ends, key=lambda corner: corner[run])
                return name, first, last
        raise KeyError(side)

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


def refuse_impossible(room: FirstRoom) -> None:
    """Raise SceneError, in the words of the options, for what no room can be."""
    for key, size in (("width", room.width_m), ("depth", room.depth_m), ("height", room.height_m)):
        if not SMALLEST_M[key] <= size <= LARGEST_ROOM_M:
            raise SceneError(
                f"--box, {key}" if not room.walls else f"the room, {key}",
                f"it is {size:g} m",
                f"give between {SMALLEST_M[key]:g} m and {LARGEST_ROOM_M:g} m, and check the unit",
            )
    for option, value, known in (
        ("--monitors-on", room.monitors_on, PLACES),
        ("--model", room.monitor, tuple(MONITORS)),
        *(("--beam", beam.direction, DIRECTIONS) for beam in room.beams),
        *(("--cut-corner", corner, CORNERS) for corner in (room.corner or ())[:1]),
    ):
        if value not in known:
            raise SceneError(option, f"it is {shown(value)}", f"choose one of {', '.join(known)}")
    if room.corner is not None:
        for key, size, whole in (("width", room.corner[1], room.width_m), ("depth", room.corner[2], room.depth_m)):
            if not 0.1 <= size <= whole - _LEFT_OF_A_SIDE_M:
                most = whole - _LEFT_OF_A_SIDE_M
                raise SceneError(f"--cut-corner, {key}", f"it is {size:g} m", f"give between 0.1 m and {most:g} m")
    for option, side in (
        *(("--slope", slope.side) for slope in room.slopes),
        *((f"--{opening.kind}", opening.side) for opening in room.openings),
        *(("--radiator", radiator.side) for radiator in room.radiators),
    ):
        known = (*room.sides, *(room.slope_sides if option in ("--window", "--door") else ()))
        if side not in known:
            raise SceneError(option, f"it is {shown(side)}", f"choose one of {', '.join(known)}")
    if len(room.slopes) > MOST_SLOPES or len({slope.side for slope in room.slopes}) < len(room.slopes):
        raise SceneError("--slope", f"{len(room.slopes)} are given", "give one or two, each on its own side")
    for slope in room.slopes:
        whole = max(room.width_m, room.depth_m)
        if not room.walls:
            whole = room.width_m if slope.side in ("left", "right") else room.depth_m
        for key, size, most in (("knee", slope.knee_m, room.height_m - 0.05), ("run", slope.run_m, whole)):
            if not 0.05 <= size <= most:
                raise SceneError(f"--slope {slope.side}, {key}", f"it is {size:g} m", f"give 0.05 m to {most:g} m")
    for option, place in _points(room):
        for key, measured, limit in zip(
            ("from_front", "from_left", "up"), place, (room.depth_m, room.width_m, room.height_m), strict=True
        ):
            if measured is not None and not 0.0 <= measured <= limit:
                raise SceneError(
                    f"{option}, {key}", f"it is {measured:g} m", f"give 0 m to {limit:g} m, inside the room"
                )
    for option, key, (low, high) in _spans(room):
        if not 0.0 <= low < high:
            raise SceneError(f"{option}, {key}", f"it runs from {low:g} m to {high:g} m", "give the lower edge first")
    for option, side, (_, along), head in (
        *((f"--{one.kind}", one.side, one.along_m, one.up_m[1]) for one in room.openings),
        *(("--radiator", one.side, one.along_m, one.up_m[1]) for one in room.radiators),
    ):
        _, start, end = room.wall(side)
        lengthwise = abs(end[0] - start[0]) > abs(end[1] - start[1])
        most = math.dist(start, end) if room.walls else end[0] if lengthwise else end[1]
        for key, size, limit in (("along the wall", along, most), ("up", head, room.height_m)):
            if size > limit + 0.01:
                raise SceneError(
                    f"{option} {side}, {key}",
                    f"it runs to {size:g} m",
                    f"give at most {limit:.2f} m, where the wall ends",
                )
    for beam in room.beams:
        if not 1.0 <= beam.underside_m < (beam.top_m or room.height_m) <= room.height_m:
            raise SceneError(
                "--beam, underside",
                f"it is {beam.underside_m:g} m",
                f"give a height between 1 m and its top, which is at most {room.height_m:g} m",
            )
    for radiator in room.radiators:
        if not 0.02 <= radiator.depth_m <= 0.5:
            raise SceneError(
                f"--radiator {radiator.side}, depth", f"it is {radiator.depth_m:g} m", "give between 0.02 m and 0.5 m"
            )


def _points(room: FirstRoom) -> list[tuple[str, tuple[float, float, float | None]]]:
    """Every point that was measured, with its option."""
    found: list[tuple[str, tuple[float, float, float | None]]] = []
    found += [] if room.seat is None else [("--seat", room.seat)]
    found += zip(("--left-monitor", "--right-monitor"), room.monitors or (), strict=False)
    return found + ([] if room.screen is None else [("--screen", room.screen.at_m)])


def _spans(room: FirstRoom) -> list[tuple[str, str, tuple[float, float]]]:
    """Everything that runs from here to there: option, what of it, and both ends in metres."""
    found: list[tuple[str, str, tuple[float, float]]] = []
    for opening in room.openings:
        option = f"--{opening.kind} {opening.side}"
        found += [(option, "along the wall", opening.along_m), (option, "up", opening.up_m)]
    for radiator in room.radiators:
        option = f"--radiator {radiator.side}"
        found += [(option, "along the wall", radiator.along_m), (option, "up", radiator.up_m)]
    found += [(f"--beam {beam.direction}", "from and to", beam.between_m) for beam in room.beams]
    if room.desk is not None:
        found += [("--desk", "from the front wall", room.desk.from_front_m)]
        found += [("--desk", "from the left wall", room.desk.from_left_m)]
    return found


def slope_angle_deg(room: FirstRoom, slope: FirstSlope) -> float:
    """Steepness of a slope against the horizontal."""
    return math.degrees(math.atan2(room.height_m - slope.knee_m, slope.run_m))
