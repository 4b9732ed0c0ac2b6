"""Observation equations of tape distances between corners, and of corners that are held square.

Distances and their slopes are those of trilateration (Ghilani, "Adjustment Computations", 6th ed. 2017, chapter 14).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray

TAPE_ERROR_M: Final = 0.005
"""Standard error of one reading, from wall to wall or corner to corner (common practice, no source)."""
SQUARE_ERROR: Final = 1e-5
"""Standard error, in radians, of a corner that is taken as square: it is held."""


@dataclass(frozen=True, slots=True)
class Distance:
    """A tape distance between two corners, by their numbers, in metres."""

    start: int
    end: int
    metres: float


@dataclass(frozen=True, slots=True)
class Floor:
    """What is known of an outline besides distances.

    Attributes
    ----------
    count
        Number of corners.
    inward
        Corners that jut into the room, where one turns left.
    skew
        Corners that are not square; the others are taken as square, but only if distances leave the shape open.
    """

    count: int
    inward: frozenset[int] = frozenset()
    skew: frozenset[int] = frozenset()

    def turn(self, corner: int) -> float:
        """+1 where one turns right, -1 where the corner juts into the room."""
        return -1.0 if corner in self.inward else 1.0


def squares(floor: Floor) -> tuple[int, ...]:
    """Corners to hold square where distances leave the shape open; a triangle has none."""
    return tuple(one for one in range(floor.count) if one not in floor.skew and floor.count > 3)


def by_pair(distances: Sequence[Distance]) -> dict[tuple[int, int], float]:
    """Lengths by their two corners, the smaller number first."""
    return {(min(one.start, one.end), max(one.start, one.end)): one.metres for one in distances}


def equations(corners: FloatArray, distances: Sequence[Distance], held: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    """Residuals over their standard errors, and their slopes by the unknowns.

    Unknowns are the place of corner 1 along the front wall, and both places of every further corner.
    """
    count = len(corners)
    residuals = np.empty(len(distances) + len(held))
    slopes = np.zeros((len(residuals), 2 * count))
    for row, one in enumerate(distances):
        away = corners[one.end] - corners[one.start]
        length = max(float(np.linalg.norm(away)), 1e-9)
        residuals[row] = (length - one.metres) / TAPE_ERROR_M
        slopes[row, 2 * one.end : 2 * one.end + 2] += away / length / TAPE_ERROR_M
        slopes[row, 2 * one.start : 2 * one.start + 2] -= away / length / TAPE_ERROR_M
    for row, corner in enumerate(held, len(distances)):
        before, after = (corner - 1) % count, (corner + 1) % count
        one_way, other = corners[before] - corners[corner], corners[after] - corners[corner]
        a, b = max(float(np.linalg.norm(one_way)), 1e-9), max(float(np.linalg.norm(other)), 1e-9)
        cosine = float(one_way @ other) / (a * b)
        residuals[row] = cosine / SQUARE_ERROR
        by_before = (other / (a * b) - cosine * one_way / a**2) / SQUARE_ERROR
        by_after = (one_way / (a * b) - cosine * other / b**2) / SQUARE_ERROR
        slopes[row, 2 * before : 2 * before + 2] += by_before
        slopes[row, 2 * after : 2 * after + 2] += by_after
        slopes[row, 2 * corner : 2 * corner + 2] -= by_before + by_after
    return residuals, slopes[:, 3:]


def rank(corners: FloatArray, distances: Sequence[Distance], held: Sequence[int]) -> int:
    """How many unknowns distances and held corners settle, near these corners."""
    _, slopes = equations(corners, distances, held)
    if not len(slopes):
        return 0
    scaled = slopes / np.maximum(np.linalg.norm(slopes, axis=1, keepdims=True), 1e-12)
    return int(np.linalg.matrix_rank(scaled, tol=1e-4))


def least_squares_from(start: FloatArray, distances: Sequence[Distance], held: Sequence[int]) -> FloatArray:
    """Corners that fit distances and held corners best, from a start near them; corner 0 and the front wall stay."""
    from scipy.optimize import least_squares

    turned = on_datum(start)

    def corners(unknown: FloatArray) -> FloatArray:
        return np.concatenate([[0.0, 0.0, 0.0], unknown]).reshape(-1, 2)

    def residuals(unknown: FloatArray) -> FloatArray:
        return equations(corners(unknown), distances, held)[0]

    def slopes(unknown: FloatArray) -> FloatArray:
        return equations(corners(unknown), distances, held)[1]

    found = least_squares(
        residuals,
        turned.ravel()[3:],
        jac=slopes,
        method="trf",
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
        max_nfev=200,
    )
    return corners(np.asarray(found.x, dtype=np.float64))


def on_datum(corners: FloatArray) -> FloatArray:
    """The same outline moved and turned so that corner 0 is the origin and corner 1 lies straight to the right."""
    moved = corners - corners[0]
    way = moved[1] / max(float(np.linalg.norm(moved[1])), 1e-9)
    ahead, across = moved @ np.array([way[1], -way[0]]), moved @ way
    return np.column_stack([ahead, across])
