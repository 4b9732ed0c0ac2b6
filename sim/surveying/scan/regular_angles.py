"""Which directions walls are given: square, at 45 degrees, or mirroring each other, where the scan agrees."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from sim.arrays import FloatArray

WallDirection = Literal["as scanned", "square", "45 degrees", "mirrored"]

AGREES_SIGMAS: Final = 2.4
MOST_TURNED_DEG: Final = 2.0
MOST_MOVED_M: Final = 0.015
"""A wall is turned by at most two degrees, whatever its uncertainty says, or, where it is short, by what moves its ends
no farther than this (our choice): of half a metre of wall nobody can tell two degrees."""
ALIKE_M: Final = 0.1
"""Walls that mirror each other are as long as each other within this (our choice)."""


@dataclass(frozen=True, slots=True)
class GivenDirection:
    """The direction that a wall is given.

    Attributes
    ----------
    angle
        Of its outward normal, in radians.
    kind
        Why.
    turned
        From what the scan has, in radians.
    """

    angle: float
    kind: WallDirection = "as scanned"
    turned: float = 0.0


def regular_directions(
    angles: FloatArray, errors: FloatArray, lengths: FloatArray, main: float
) -> list[GivenDirection]:
    """Directions of walls, in their order round the room.

    Parameters
    ----------
    angles, errors
        (n,) directions of the outward normals as the scan has them, and their standard uncertainties, in radians.
    lengths
        (n,) in metres.
    main
        The direction that most walls have, modulo a quarter turn, in radians.
    """
    most = np.maximum(np.radians(MOST_TURNED_DEG), np.arctan(2.0 * MOST_MOVED_M / lengths))
    most = np.minimum(AGREES_SIGMAS * errors, most)
    found = []
    for angle, limit in zip(angles, most, strict=True):
        square, at_45 = off_square(angle, main), off_square(angle, main + 0.25 * np.pi)
        given = GivenDirection(float(angle))
        if abs(square) < limit:
            given = GivenDirection(float(angle) - square, "square", -square)
        elif abs(at_45) < limit:
            given = GivenDirection(float(angle) - at_45, "45 degrees", -at_45)
        found.append(given)
    return _mirrored(found, angles, errors, lengths, most)


def off_square(angle: float, main: float) -> float:
    """How far a direction is from the main one or square to it, in radians, within an eighth of a turn."""
    return float(np.mod(angle - main + 0.25 * np.pi, 0.5 * np.pi) - 0.25 * np.pi)


def _mirrored(
    alone: list[GivenDirection], angles: FloatArray, errors: FloatArray, lengths: FloatArray, most: FloatArray
) -> list[GivenDirection]:
    """Give one angle to the two walls beside a square one, as of a bay, where both sides agree on it.

    Both at 45 degrees stay so only where their mean, which is surer than each, is there too.
    """
    found, paired = list(alone), set[int]()
    for middle, given in enumerate(alone):
        before, after = (middle - 1) % len(alone), (middle + 1) % len(alone)
        if given.kind != "square" or {before, after} & paired or "square" in (alone[before].kind, alone[after].kind):
            continue
        splays = np.array([_signed(given.angle - angles[before]), _signed(angles[after] - given.angle)])
        sigmas, limits = errors[[before, after]], most[[before, after]]
        common = float(np.average(splays, weights=sigmas**-2.0))
        agree = abs(splays[0] - splays[1]) < AGREES_SIGMAS * np.hypot(*sigmas) and (abs(splays - common) < limits).all()
        if not agree or abs(lengths[before] - lengths[after]) > ALIKE_M:
            continue
        paired |= {before, after}
        both_45 = alone[before].kind == alone[after].kind == "45 degrees"
        if both_45 and abs(off_square(common, 0.25 * np.pi)) < AGREES_SIGMAS * np.sum(sigmas**-2.0) ** -0.5:
            continue
        for wall, turned in ((before, float(splays[0] - common)), (after, float(common - splays[1]))):
            found[wall] = GivenDirection(float(angles[wall]) + turned, "mirrored", turned)
    return found


def _signed(angle: float) -> float:
    """The same angle within half a turn."""
    return float(np.mod(angle + np.pi, 2.0 * np.pi) - np.pi)
