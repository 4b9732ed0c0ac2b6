"""Convex solids of eight corners, told in plain numbers before any geometry is made of them.

Corners 0-3 are the lower ring far left, far right, listener right, listener left, and 4-7 the upper ring in the same
order; "far" is toward the front wall, left and right are those of the seat.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from sim.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Solid:
    """One convex solid of a piece of furniture.

    Attributes
    ----------
    name
        With which the names of its faces begin: "desk", "desk panel".
    corners
        (8, 3) in metres, in the order said above.
    sides
        Names of faces that are called otherwise than after their side: {"listener side": "face"}.
    materials
        Materials of faces that are not of the piece's own, by side: {"top": "carpet"}.
    """

    name: str
    corners: FloatArray
    sides: Mapping[str, str] = field(default_factory=dict)
    materials: Mapping[str, str] = field(default_factory=dict)


def ring(depth: tuple[float, float], across: tuple[float, float]) -> FloatArray:
    """Corners (4, 2) in plan of a rectangle: far left, far right, listener right, listener left."""
    return np.array([[depth[0], across[0]], [depth[0], across[1]], [depth[1], across[1]], [depth[1], across[0]]])


def middle(corners: FloatArray) -> FloatArray:
    """The middle (2,) of a ring (4, 2)."""
    return np.asarray(corners.mean(axis=0), dtype=np.float64)


def upright(corners: FloatArray, low: float, high: float) -> FloatArray:
    """Corners (8, 3) of the prism that stands on a ring (4, 2) between two heights."""
    lower, upper = (np.column_stack([corners, np.full(4, height)]) for height in (low, high))
    return np.concatenate([lower, upper])


def turned(corners: FloatArray, about: FloatArray, turn_deg: float) -> FloatArray:
    """Turn corners (8, 3) about an upright line through `about` (2,), counter-clockwise from above."""
    angle = np.radians(turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    found = corners.copy()
    found[:, :2] = about + (corners[:, :2] - about) @ turn.T
    return found
