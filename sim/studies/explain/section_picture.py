"""A vertical section along a way, unrolled: each leg stands in its own upright plane, one leg after the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.arrays import BoolArray, FloatArray, frozen
from sim.geometry.room import Room

BEYOND_M = 0.55
"""How far the section reaches behind the loudspeaker and behind the ear."""
UPRIGHT_M = 1e-6


@dataclass(frozen=True, slots=True)
class Section:
    """What the upright planes of a way cut.

    Attributes
    ----------
    lines
        (n, 2, 2) in metres: along the way from the loudspeaker, and up.
    of_room
        (n,) whether each belongs to the room itself.
    owners
        (n,) names of the bodies.
    way
        (k + 2, 2) corners of the way in the same coordinates.
    """

    lines: FloatArray
    of_room: BoolArray
    owners: tuple[str, ...]
    way: FloatArray


def section_along(room: Room, points: FloatArray) -> Section:
    """Cut everything along a polyline of points (k + 2, 3), from a little before it to a little after it."""
    steps = np.diff(points[:, :2], axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    lines: list[FloatArray] = []
    owners: list[int] = []
    for leg, (step, length) in enumerate(zip(steps, lengths, strict=True)):
        if length < UPRIGHT_M:
            continue
        low = -BEYOND_M if leg == 0 else 0.0
        high = length + BEYOND_M if leg == len(steps) - 1 else length
        found, whose = cut_upright(room, points[leg], step / length, low, high)
        lines.extend(found + np.array([along[leg], 0.0]))
        owners.extend(whose)
    flat = np.array(lines).reshape(-1, 2, 2)
    return Section(
        frozen(flat),
        frozen(np.array(owners, dtype=np.int64) == 0),
        tuple(room.owners[n] for n in owners),
        frozen(np.column_stack([along, points[:, 2]])),
    )


def cut_upright(
    room: Room, start: FloatArray, direction: FloatArray, low_m: float, high_m: float
) -> tuple[FloatArray, list[int]]:
    """Lines (n, 2, 2) that an upright plane cuts out of all triangles, and the number of the body of each.

    start (3,) and the level unit vector direction (2,) span the plane; the first coordinate runs along it from the
    start and is cut off at both ends.  Triangles that lie in the plane add nothing.
    """
    across = np.array([-direction[1], direction[0]])
    relative = room.triangles[:, :, :2] - start[:2]
    beside, ahead, up = relative @ across, relative @ direction, room.triangles[:, :, 2]
    lines, owners = [], []
    for n in np.flatnonzero((beside.min(axis=1) < 0.0) & (beside.max(axis=1) >= 0.0)):
        ends = []
        for i, j in ((0, 1), (1, 2), (2, 0)):
            a, b = beside[n, i], beside[n, j]
            if (a < 0.0) != (b < 0.0):
                fraction = a / (a - b)
                ends.append(
                    (ahead[n, i] + fraction * (ahead[n, j] - ahead[n, i]), up[n, i] + fraction * (up[n, j] - up[n, i]))
                )
        line = _clipped(np.array(ends), low_m, high_m)
        if line is not None:
            lines.append(line)
            owners.append(int(room.owner_of_triangle[n]))
    return np.array(lines).reshape(-1, 2, 2), owners


def _clipped(line: FloatArray, low: float, high: float) -> FloatArray | None:
    """The part of a line (2, 2) whose first coordinate lies between two values."""
    line = line[np.argsort(line[:, 0], kind="stable")]
    (a, up_a), (b, up_b) = line
    if b < low or a > high:
        return None
    if b - a < 1e-12:
        return line
    wanted = np.clip([a, b], low, high)
    return np.column_stack([wanted, up_a + (wanted - a) / (b - a) * (up_b - up_a)])
