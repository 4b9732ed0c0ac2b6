"""Invented rooms for scans, and what a ray meets in them: plain arithmetic, nothing of `sim`.

A room is a floor outline with upright walls, a flat ceiling, slopes that start on a wall, and boxes in it.  Axes are
depth, across and up in metres, as in scenes.  All rooms are demo data.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Box = tuple[tuple[float, float, float], tuple[float, float, float]]


@dataclass(frozen=True)
class Blind:
    """A rectangle in a wall that gives no depth: wall number, along it from its start, up, "window" or "mirror"."""

    wall: int
    along: tuple[float, float]
    up: tuple[float, float]
    kind: str = "window"


@dataclass(frozen=True)
class InventedRoom:
    """Corners counter-clockwise from above; wall k runs from corner k to the next; slopes: wall, knee, angle in deg."""

    name: str
    corners: Array
    height: float
    slopes: tuple[tuple[int, float, float], ...] = ()
    furniture: tuple[Box, ...] = ()
    beams: tuple[Box, ...] = ()
    blinds: tuple[Blind, ...] = ()

    @property
    def walls(self) -> list[tuple[Array, Array]]:
        return list(zip(self.corners, np.roll(self.corners, -1, axis=0), strict=True))

    def inward(self, wall: int) -> Array:
        start, end = self.walls[wall]
        along = (end - start) / np.linalg.norm(end - start)
        return np.array([-along[1], along[0]])

    def ceilings(self) -> list[tuple[Array, float]]:
        """Planes n . p = c above the room, n upward: the room is where n . p <= c for all."""
        found = [(np.array([0.0, 0.0, 1.0]), self.height)]
        for wall, knee, angle in self.slopes:
            inward, rise = self.inward(wall), math.tan(math.radians(angle))
            normal = np.array([-rise * inward[0], -rise * inward[1], 1.0])
            start = self.walls[wall][0]
            found.append((normal / np.linalg.norm(normal), (knee + normal[:2] @ start) / np.linalg.norm(normal)))
        return found

    def inside(self, points: Array) -> NDArray[np.bool_]:
        """Whether points (n, 2) lie in the outline (crossing number)."""
        odd = np.zeros(len(points), dtype=bool)
        for start, end in self.walls:
            over = (start[1] > points[:, 1]) != (end[1] > points[:, 1])
            with np.errstate(divide="ignore", invalid="ignore"):
                reach = start[0] + (points[:, 1] - start[1]) * (end[0] - start[0]) / (end[1] - start[1])
            odd ^= over & (points[:, 0] < reach)
        return odd


@dataclass
class Met:
    """What rays meet: distance, cosine against the surface, and the wall (-1: none) with the place on it."""

    distance: Array
    cosine: Array
    wall: NDArray[np.int64]
    along: Array
    up: Array = field(default_factory=lambda: np.zeros(0))


def cast(room: InventedRoom, origin: Array, directions: Array) -> Met:
    """First surface that rays (n, 3) from a point meet."""
    count = len(directions)
    best, cosine = np.full(count, np.inf), np.ones(count)
    wall, place = np.full(count, -1, dtype=np.int64), np.zeros(count)

    def nearer(distance: Array, normal: Array, hit: NDArray[np.bool_]) -> NDArray[np.bool_]:
        better = hit & (distance > 1e-6) & (distance < best)
        best[better] = distance[better]
        cosine[better] = np.abs(directions[better] @ normal)
        wall[better] = -1
        return better

    with np.errstate(divide="ignore", invalid="ignore"):
        nearer(-origin[2] / directions[:, 2], np.array([0.0, 0.0, 1.0]), directions[:, 2] < 0.0)
        for normal, constant in room.ceilings():
            fall = directions @ normal
            nearer((constant - normal @ origin) / fall, normal, fall > 0.0)
        for number, (start, end) in enumerate(room.walls):
            side = end - start
            length = float(np.linalg.norm(side))
            normal = np.array([side[1], -side[0]]) / length
            distance = (start - origin[:2]) @ normal / (directions[:, :2] @ normal)
            along = ((origin[:2] + distance[:, None] * directions[:, :2]) - start) @ side / length
            better = nearer(distance, np.array([*normal, 0.0]), (along >= 0.0) & (along <= length))
            wall[better], place[better] = number, along[better]
        for low, high in (*room.furniture, *room.beams):
            one, two = (np.array(low) - origin) / directions, (np.array(high) - origin) / directions
            enters = np.nanmax(np.minimum(one, two), axis=1)
            leaves = np.nanmin(np.maximum(one, two), axis=1)
            axis = np.nanargmax(np.minimum(one, two), axis=1)
            for number in range(3):
                nearer(enters, np.eye(3)[number], (enters < leaves) & (axis == number))
    return Met(best, cosine, wall, place, origin[2] + best * directions[:, 2])


# The fifty rooms of the report.

KINDS = ("box", "L", "attic, one slope", "attic, two slopes", "beams", "bay")


def invented_rooms(count: int = 50, seed: int = 7) -> list[InventedRoom]:
    """So many rooms, the kinds in turn, sizes by chance."""
    rng = np.random.default_rng(seed)
    return [invented_room(KINDS[number % len(KINDS)], rng, number + 1) for number in range(count)]


def invented_room(kind: str, rng: np.random.Generator, number: int) -> InventedRoom:
    """One room of a kind, with furniture along its walls, a window and sometimes a mirror."""
    depth, width, height = rng.uniform(3.6, 5.6), rng.uniform(3.0, 4.6), rng.uniform(2.35, 2.8)
    corners = np.array([[0.0, 0.0], [depth, 0.0], [depth, width], [0.0, width]])
    slopes: tuple[tuple[int, float, float], ...] = ()
    beams: tuple[Box, ...] = ()
    if kind == "L":
        wide, deep = width * rng.uniform(0.3, 0.45), depth * rng.uniform(0.25, 0.4)
        corners = np.array(
            [
                [0.0, 0.0],
                [depth, 0.0],
                [depth, width - wide],
                [depth - deep, width - wide],
                [depth - deep, width],
                [0.0, width],
            ]
        )
    elif kind == "bay":
        out, low = rng.uniform(0.5, 0.7), width * 0.5 - rng.uniform(0.9, 1.1)
        high = width - low
        corners = np.array(
            [
                [0.0, 0.0],
                [depth, 0.0],
                [depth, low],
                [depth + out, low + out],
                [depth + out, high - out],
                [depth, high],
                [depth, width],
                [0.0, width],
            ]
        )
    elif kind == "attic, one slope":
        slopes = ((0, rng.uniform(0.9, 1.3), rng.uniform(35.0, 50.0)),)
    elif kind == "attic, two slopes":
        knee, angle = rng.uniform(0.9, 1.3), rng.uniform(35.0, 45.0)
        slopes = ((0, knee, angle), (2, knee, angle))
    elif kind == "beams":
        deep = rng.uniform(0.15, 0.25)
        beams = tuple(
            ((at, 0.0, height - deep), (at + 0.16, width, height))
            for at in depth * np.array([0.3, 0.65]) + rng.uniform(-0.1, 0.1)
        )
    reach = min(width, 1.9)
    low_left = bool(slopes)
    furniture: list[Box] = [((depth - 0.9, 0.25, 0.0), (depth - 0.03, 0.25 + min(reach, 1.8), 0.75))]  # sofa
    if kind == "bay":
        furniture = [((0.9, width - 0.95, 0.0), (2.7, width - 0.02, 0.75))]
    furniture.append(((0.0, width - 0.95, 0.0), (0.45, width - 0.05, 1.1 if low_left else 1.9)))  # cupboard
    furniture.append(((0.35, 0.8, 0.70), (1.05, 2.1, 0.74)))  # table top
    blinds = [Blind(0, (1.2, 2.1), (0.3, 0.8)) if low_left else Blind(0, (1.2, 2.3), (0.9, 1.9))]
    if number % 3 == 0:
        last = len(corners) - 1
        blinds.append(Blind(last, (1.3, 1.9), (0.6, 1.8), "mirror"))
    furniture.append(((1.3, 0.02, 0.1), (2.2, 0.12, 0.25 if low_left else 0.75)))  # radiator below the window
    if number % 2 and kind != "bay":
        furniture.append(((1.9, width - 0.32, 0.0), (3.1, width - 0.01, 0.8 if low_left else 2.1)))  # shelf
    for _ in range(number % 4):  # chairs
        at = rng.uniform((1.5, 0.9), (depth - 1.6, width - 1.2))
        furniture.append(((at[0], at[1], 0.0), (at[0] + 0.45, at[1] + 0.45, rng.uniform(0.45, 0.9))))
    if number % 5 == 0 and kind in ("box", "beams", "attic, one slope"):  # a rear wall that is not square
        corners = corners.copy()
        corners[1, 0] += rng.uniform(0.08, 0.2)
    return InventedRoom(f"{number:02d} {kind}", corners, height, slopes, tuple(furniture), beams, tuple(blinds))
