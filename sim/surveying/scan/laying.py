"""A scanned room laid as scenes have it: front wall at zero, left wall at zero, walls named by where they lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.errors import SceneError
from sim.geometry.patches import compass_name, numbered
from sim.surveying.scan.ceilings import FoundCeiling, distance_into
from sim.surveying.scan.cloud import Cloud
from sim.surveying.scan.outline import OutlineSide, main_direction

OUTERMOST_M: Final = 0.05


@dataclass(frozen=True, slots=True)
class LaidRoom:
    """A room in the axes of scenes: depth, across, up.

    Attributes
    ----------
    corners
        (n, 2) of the outline; wall k runs from corner k to the next.
    names
        Of the walls.
    ceiling, cloud
        As they were found, in these axes.
    turn, shift
        (3, 3) and (3,): what took the upright scan here, turn . p + shift.
    front
        Why the front wall is the front wall, in words.
    """

    corners: FloatArray
    names: tuple[str, ...]
    ceiling: FoundCeiling
    cloud: Cloud
    turn: FloatArray
    shift: FloatArray
    front: str

    def scaled(self, factor: float) -> LaidRoom:
        """The same room, all lengths multiplied."""
        slopes = tuple(replace(slope, knee_m=factor * slope.knee_m) for slope in self.ceiling.slopes)
        ceiling = replace(self.ceiling, height_m=factor * self.ceiling.height_m, slopes=slopes)
        cloud = self.cloud.moved(np.eye(3), np.zeros(3), factor)
        return replace(
            self,
            corners=factor * self.corners,
            ceiling=ceiling,
            cloud=cloud,
            turn=factor * self.turn,
            shift=factor * self.shift,
        )


def lay(
    sides: Sequence[OutlineSide], corners: FloatArray, ceiling: FoundCeiling, cloud: Cloud, front: str | None
) -> LaidRoom:
    """Turn a room so that its front wall is at zero, and name its walls.

    Left to itself, slopes come to lie left and right, else the room is deeper than it is wide; of the two ends the one
    with the longer wall is the front.  `front` names another wall by the name it has then.

    Raises
    ------
    SceneError
        If no wall has that name.
    """
    main = main_direction(sides)
    choices = [_turned(corners, quarter * 0.5 * np.pi - main) for quarter in range(4)]
    best = max(range(4), key=lambda quarter: (_fitness(choices[quarter], ceiling), -quarter))
    why = "slopes lie left and right" if ceiling.slopes else "the long side of the room is its depth"
    words = f"nobody said which it is, and so {why}; --front turns the room"
    angle = best * 0.5 * np.pi - main
    if front is not None:
        names = _names(_turned(corners, angle))
        wanted = " ".join(front.lower().replace("-", " ").split())
        wanted = wanted if wanted.endswith(("wall", *"0123456789")) else f"{wanted} wall"
        if wanted not in names:
            raise SceneError("--front", f'no wall is called "{front}"', f"the walls are {', '.join(names)}")
        outward = _outward(_turned(corners, angle))[names.index(wanted)]
        quarters = round(float((np.arctan2(outward[1], outward[0]) - np.pi) / (0.5 * np.pi)))
        angle -= quarters * 0.5 * np.pi
        words = f'as you said, what is the "{wanted}" when nobody says anything'
    turned = _turned(corners, angle)
    low = turned.min(axis=0)
    turn = np.eye(3)
    turn[:2, :2] = _rotation(angle)
    shift = np.array([-low[0], -low[1], 0.0])
    placed = turned - low
    return LaidRoom(placed, tuple(_names(placed)), ceiling, cloud.moved(turn, shift), turn, shift, words)


def _rotation(angle: float) -> FloatArray:
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _turned(corners: FloatArray, angle: float) -> FloatArray:
    return np.asarray(corners @ _rotation(angle).T)


def _outward(corners: FloatArray) -> FloatArray:
    along = np.roll(corners, -1, axis=0) - corners
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    return np.column_stack([along[:, 1], -along[:, 0]])


def _fitness(corners: FloatArray, ceiling: FoundCeiling) -> tuple[bool, bool, float]:
    """Slopes to the sides, then deeper than wide, then the longer front wall."""
    outward = _outward(corners)
    sideways = all(abs(outward[slope.wall][1]) > 0.7 for slope in ceiling.slopes)
    depth, width = np.ptp(corners, axis=0)
    at_front = [
        k for k in range(len(corners)) if outward[k][0] < -0.9 and corners[k][0] < corners[:, 0].min() + OUTERMOST_M
    ]
    following = np.roll(corners, -1, axis=0)
    longest = max((float(np.linalg.norm(following[k] - corners[k])) for k in at_front), default=0.0)
    return sideways, bool(depth > width - 1e-6), round(longest, 2)


def _names(corners: FloatArray) -> list[str]:
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    return numbered([compass_name(each) for each in _outward(corners)], lengths.tolist())


# Distances by tape, as names of what they lie between.


def distance_between(room: LaidRoom, words: str) -> tuple[str, float]:
    """What a tape lies between, in words, and that distance in the scan in metres.

    Raises
    ------
    SceneError
        If it names no two surfaces opposite each other.
    """
    where = f'--tape "{words}"'
    plain = " ".join(words.lower().replace("-", " ").split())
    sizes = np.ptp(room.corners, axis=0)
    whole = {"depth": float(sizes[0]), "width": float(sizes[1]), "height": room.ceiling.height_m}
    if plain in whole:
        return plain, whole[plain]
    ends = [end.strip() for end in plain.split(" to ")]
    known = (*room.names, "floor", "ceiling")
    if len(ends) != 2 or any(end not in known for end in ends):
        remedy = f'write "A to B", with two of {", ".join(known)}; or depth, width, height'
        raise SceneError(where, "it does not name two surfaces of the room", remedy)
    if set(ends) == {"floor", "ceiling"}:
        return " to ".join(ends), room.ceiling.height_m
    if "floor" in ends or "ceiling" in ends or ends[0] == ends[1]:
        raise SceneError(where, "these are not opposite each other", "name two walls, or floor to ceiling")
    one, two = (room.names.index(end) for end in ends)
    outward = _outward(room.corners)
    if float(outward[one] @ outward[two]) > -0.98:
        raise SceneError(where, "these walls are not opposite each other", "name two that face each other")
    middle = 0.5 * (room.corners[one] + room.corners[(one + 1) % len(room.corners)])
    return " to ".join(ends), float(distance_into(room.corners, two, middle[None])[0])
