"""A closed outline of a drawing laid into the room's frame: which wall is the front, wall names, the tape."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray, frozen
from sim.blueprint.room import LARGEST_ROOM_M, SMALLEST_ROOM_M
from sim.blueprint.units import UNIT_M, length_words
from sim.errors import SceneError
from sim.geometry.patches import compass_name, numbered
from sim.surveying.drawing.closing import Outline
from sim.surveying.drawing.plan_lines import UNITS_M

FRONTS: Final = {"top": (0.0, 1.0), "bottom": (0.0, -1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)}
"""Which way on the drawing the front of the room lies: to the right, up."""
TAPE_M: Final = 0.02
TAPE_FRACTION: Final = 0.005
"""A tape and a drawing may differ by 2 cm or half a per cent, whichever is more (common practice, no source)."""


IN_WALL_M: Final = 0.01
"""A gap whose ends are no further from a wall is in that wall."""


@dataclass(frozen=True, slots=True)
class LaidWall:
    """A wall in the room.

    Attributes
    ----------
    name
        "front wall", "left wall 2" and so on.
    number
        Which side of the outline on the drawing it is, counted from 1 at its upper left corner, counter-clockwise.
    start
        (from_front, from_left) in metres of the corner it starts at.
    length_m
        How long it is.
    """

    name: str
    number: int
    start: tuple[float, float]
    length_m: float


@dataclass(frozen=True, slots=True)
class LaidOutline:
    """The outline as the room has it.

    Attributes
    ----------
    walls
        In order, the left wall first.
    depth_m, width_m
        Sizes of the box round it.
    turn, shift
        (2, 2) and (2,): place @ turn.T - shift is (from_front, from_left) of a place on the drawing, in metres.
    """

    walls: tuple[LaidWall, ...]
    depth_m: float
    width_m: float
    turn: FloatArray
    shift: FloatArray

    @property
    def corners(self) -> FloatArray:
        """(n, 2) from_front and from_left of the corners, in metres."""
        return np.array([wall.start for wall in self.walls])

    def wall_at(self, places: FloatArray) -> tuple[str, float, float] | None:
        """Wall that a gap (2, 2) on the drawing lies in, from and to along it in metres; None where in none.

        Along a wall that runs from front to rear from the front wall, along others from the left wall.
        """
        ends = places @ self.turn.T - self.shift
        for wall, stop in zip(self.walls, np.roll(self.corners, -1, axis=0), strict=True):
            along = stop - np.array(wall.start)
            away = ends - np.array(wall.start)
            if np.abs(away[:, 0] * along[1] - away[:, 1] * along[0]).max() > IN_WALL_M * wall.length_m:
                continue
            fractions = away @ along / wall.length_m**2
            if fractions.min() > -0.01 and fractions.max() < 1.01:
                axis = 0 if abs(along[0]) > abs(along[1]) else 1
                return wall.name, float(ends[:, axis].min()), float(ends[:, axis].max())
        return None


def laid(outline: Outline, front: str = "top") -> LaidOutline:
    """Lay an outline into the room's frame.

    Parameters
    ----------
    front
        "top", "bottom", "left" or "right" of the drawing, or the number of the wall that is the front.

    Raises
    ------
    SceneError
        If there is no such wall.
    """
    ahead = _front_direction(outline, front)
    aside = np.array([-ahead[1], ahead[0]])  # to the left of whoever looks ahead
    turn = -np.stack([ahead, aside])
    corners = outline.corners @ turn.T
    shift = corners.min(axis=0)
    corners = corners - shift
    # seen from above with the front at the top, counter-clockwise on paper runs down the left wall first
    first = int(np.argmin(np.round(corners.sum(axis=1), 6)))
    order = np.roll(np.arange(len(corners)), -first)
    placed = corners[order]
    sides = np.roll(placed, -1, axis=0) - placed
    lengths = np.linalg.norm(sides, axis=1)
    outward = np.column_stack([sides[:, 1], -sides[:, 0], np.zeros(len(sides))]) / lengths[:, None]
    names = numbered([compass_name(each) for each in outward], lengths.tolist())
    walls = tuple(
        LaidWall(name, number + 1, (start[0], start[1]), length)
        for name, number, start, length in zip(names, order.tolist(), placed.tolist(), lengths.tolist(), strict=True)
    )
    depth, width = corners.max(axis=0).tolist()
    return LaidOutline(walls, depth, width, frozen(turn), frozen(shift))


def _front_direction(outline: Outline, front: str) -> FloatArray:
    if front in FRONTS:
        return np.array(FRONTS[front])
    count = len(outline.corners)
    if not front.isdecimal() or not 1 <= int(front) <= count:
        raise SceneError(
            "--front", f'it is "{front}"', f"give {', '.join(FRONTS)}, or the number of a wall, 1 to {count}"
        )
    side = np.roll(outline.corners, -1, axis=0)[int(front) - 1] - outline.corners[int(front) - 1]
    return frozen(np.array([side[1], -side[0]]) / np.linalg.norm(side))  # outward of a counter-clockwise outline


def refuse_sizes(outline: Outline, unit: str, where: str) -> None:
    """Refuse an outline that is no room in this unit, and say which unit would make it one."""
    size = outline.size_m
    if size.min() >= SMALLEST_ROOM_M and size.max() <= LARGEST_ROOM_M:
        return
    drawn = size / UNITS_M[unit]
    fitting = [u for u, m in UNIT_M.items() if drawn.min() * m >= SMALLEST_ROOM_M and drawn.max() * m <= LARGEST_ROOM_M]
    advice = (
        f"give --unit {' or '.join(fitting)} if that is what it is drawn in" if fitting else "choose another outline"
    )
    raise SceneError(where, f"in {unit} the outline is {size[0]:,.4g} m by {size[1]:,.4g} m, which is no room", advice)


def check_reading(room: LaidOutline, which: str, reading_m: float, unit: str) -> float:
    """Hold the drawing against one tape reading; returns how much longer the drawing is, in metres.

    Parameters
    ----------
    which
        "width", "depth", or the number or name of a wall.

    Raises
    ------
    SceneError
        If there is no such wall, or they differ by more than 2 cm and half a per cent.
    """
    drawn = {"width": room.width_m, "depth": room.depth_m}
    drawn |= {str(wall.number): wall.length_m for wall in room.walls}
    drawn |= {wall.name: wall.length_m for wall in room.walls}
    if which not in drawn:
        names = ", ".join(wall.name for wall in room.walls)
        raise SceneError("--tape", f'there is no "{which}"', f"give width, depth, or a wall: {names}, or its number")
    difference = drawn[which] - reading_m
    if abs(difference) > max(TAPE_M, TAPE_FRACTION * reading_m):
        fitting = (
            [
                other
                for other, metres in UNIT_M.items()
                if abs(drawn[which] * metres / UNIT_M[unit] - reading_m) <= max(TAPE_M, TAPE_FRACTION * reading_m)
            ]
            if unit in UNIT_M
            else []
        )
        hint = f"--unit {fitting[0]} would fit" if fitting else "measure again, or correct the drawing"
        raise SceneError(
            f"--tape {which}",
            f"the drawing has {length_words(drawn[which], 'm')} and the tape {length_words(reading_m, 'm')}",
            hint,
        )
    return difference
