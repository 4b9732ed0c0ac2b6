"""A floor outline from tape distances between its corners, balanced by least squares where there are more than needed.

Observation equations of distances, their solution and the propagation of errors are those of trilateration: Ghilani,
"Adjustment Computations", 6th ed. 2017, chapter 14.  Which reading is wrong follows from standardised residuals
(Baarda, "A testing procedure for use in geodetic networks", 1968; the same book, chapter 21).

Corners are numbered from 0 clockwise seen from above, from the left end of the front wall: a person who goes round has
the wall at the left hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.errors import SceneError
from sim.surveying.tape.equations import (
    TAPE_ERROR_M,
    Distance,
    Floor,
    by_pair,
    equations,
    least_squares_from,
    rank,
    squares,
)
from sim.surveying.tape.walked_outline import interior_angles_deg, is_simple, walked

CRITICAL: Final = 3.29
"""A standardised residual beyond this happens once in a thousand sound readings (normal distribution, two-sided)."""
SEPARATE: Final = 0.9
"""A reading is named only if no other has a standardised residual of this fraction of its own."""
SQUARE_DEG: Final = 0.5
"""A corner that is off by less is square as far as a tape tells (common practice, no source)."""
REFUSED_M: Final = 0.10
"""Readings that miss by more than this describe no room."""
_STARTS: Final = 12


@dataclass(frozen=True, slots=True)
class Balance:
    """A balanced outline.

    Attributes
    ----------
    floor, distances
        What it was made of.
    corners_m
        (n, 2) from_front and from_left of the corners in metres; the least of both are zero.
    held
        Corners that were taken as square.
    misfit_m
        (k,) balanced distance less reading, in metres.
    standardised
        (k,) the same over its standard error; nan where nothing checks a reading.
    standardised_square
        (h,) of the held corners.
    redundancy
        How many readings, held corners included, are more than needed.
    fitting_m
        (k,) the length that the other readings give to each; nan where they leave it open.
    """

    floor: Floor
    distances: tuple[Distance, ...]
    corners_m: FloatArray
    held: tuple[int, ...]
    misfit_m: FloatArray
    standardised: FloatArray
    standardised_square: FloatArray
    redundancy: int
    fitting_m: FloatArray

    @property
    def angles_deg(self) -> FloatArray:
        """(n,) interior angles at the corners."""
        return interior_angles_deg(self.corners_m)

    @property
    def fits(self) -> bool:
        """Whether no reading is off by more than sound readings are."""
        found = np.abs(np.concatenate([self.standardised, self.standardised_square]))
        return not bool(np.any(found > CRITICAL))

    @property
    def suspects(self) -> tuple[int, ...]:
        """Readings that may be the wrong one, worst first: one alone where the redundancy tells it from all others."""
        if self.fits:
            return ()
        found = np.nan_to_num(np.abs(self.standardised))
        most = max(float(found.max()), float(np.nan_to_num(np.abs(self.standardised_square)).max(initial=0.0)))
        order = sorted(range(len(found)), key=lambda index: -found[index])
        return tuple(index for index in order if found[index] > SEPARATE * most)

    @property
    def suspect_corners(self) -> tuple[int, ...]:
        """Corners taken as square that may not be."""
        if self.fits:
            return ()
        found = np.nan_to_num(np.abs(self.standardised_square))
        most = max(float(np.nan_to_num(np.abs(self.standardised)).max()), float(found.max(initial=0.0)))
        return tuple(corner for corner, size in zip(self.held, found, strict=True) if size > SEPARATE * most)


def balanced(floor: Floor, distances: Sequence[Distance]) -> Balance:
    """Balance an outline from tape distances.

    Where distances alone leave the shape open, the corners that are not named as skew are held square.

    Raises
    ------
    SceneError
        If the shape stays open, the readings miss each other by more than 0.10 m, or give another shape.
    """
    given = tuple(distances)
    _refuse_longer(floor, given)
    start = walked(floor.count, [floor.turn(one) for one in range(floor.count)], by_pair(given), floor.skew)
    held: tuple[int, ...] = ()
    if rank(start, given, held) < 2 * floor.count - 3:
        held = squares(floor)
    if rank(start, given, held) < 2 * floor.count - 3:
        raise SceneError(*_open(floor, given, start, held))
    corners = _solved(floor, given, held, start)
    residuals, slopes = equations(corners, given, held)
    left = np.eye(len(residuals)) - slopes @ np.linalg.pinv(slopes)
    numbers = np.clip(np.diag(left), 0.0, 1.0)
    checked = numbers > 1e-9
    standard = np.where(checked, residuals / np.sqrt(np.where(checked, numbers, 1.0)), np.nan)
    count = len(given)
    misfit = residuals[:count] * TAPE_ERROR_M
    fitting = np.full(count, np.nan)
    sound = bool(np.all(np.abs(np.nan_to_num(standard)) <= CRITICAL))
    for index in () if sound else np.flatnonzero(checked[:count]):
        others = given[:index] + given[index + 1 :]
        rest = least_squares_from(corners, others, held)
        if rank(rest, others, held) == 2 * floor.count - 3:
            fitting[index] = float(np.linalg.norm(rest[given[index].start] - rest[given[index].end]))
    made = Balance(
        floor,
        given,
        corners - corners.min(axis=0),
        held,
        misfit,
        standard[:count],
        standard[count:],
        len(residuals) - (2 * floor.count - 3),
        fitting,
    )
    if float(np.abs(misfit).max()) > REFUSED_M:
        raise SceneError(*_far_off(made))
    return made


def square_without(balance: Balance) -> int | None:
    """Return the reading without which all corners of a quadrilateral would be square, where there is just one."""
    if balance.floor.count != 4 or balance.held or balance.fits or balance.redundancy != 1:
        return None
    off = []
    for index in range(len(balance.distances)):
        others = balance.distances[:index] + balance.distances[index + 1 :]
        rest = least_squares_from(balance.corners_m, others, ())
        off.append(float(np.abs(interior_angles_deg(rest) - 90.0).max()))
    best, second = np.argsort(off)[:2]
    return int(best) if off[best] < SQUARE_DEG and off[second] > 2.0 * off[best] else None


def open_pair(floor: Floor, distances: Sequence[Distance]) -> tuple[int, int] | None:
    """Return two corners whose distance would settle a shape that is open, or None if nothing is."""
    given = tuple(distances)
    start = walked(floor.count, [floor.turn(one) for one in range(floor.count)], by_pair(given), floor.skew)
    held = squares(floor)
    full = 2 * floor.count - 3
    if full in (rank(start, given, ()), rank(start, given, held)):
        return None
    best = rank(start, given, held)
    known = by_pair(given)
    pairs = [(a, b) for a in range(floor.count) for b in range(a + 1, floor.count) if (a, b) not in known]
    walls = {tuple(sorted((one, (one + 1) % floor.count))): one for one in range(floor.count)}
    pairs.sort(key=lambda pair: (walls.get(pair, floor.count), pair))  # walls first, as one walks
    for a, b in pairs:
        if rank(start, (*given, Distance(a, b, 1.0)), held) > best:
            return a, b
    return None


def _solved(floor: Floor, distances: Sequence[Distance], held: Sequence[int], start: FloatArray) -> FloatArray:
    """The best fit whose corners jut as they should, from the walked outline or from others near it."""
    generator = np.random.default_rng(1)
    size = float(np.ptp(start, axis=0).max())
    best, least = None, np.inf
    for trial in range(_STARTS):
        shaken = start if trial == 0 else start + generator.normal(0.0, 0.08 * size, start.shape)
        found = least_squares_from(shaken, distances, held)
        residuals = equations(found, distances, held)[0]
        cost = float(np.sum(residuals**2))
        right = is_simple(found) and all(
            (angle > 180.0) == (corner in floor.inward) for corner, angle in enumerate(interior_angles_deg(found))
        )
        if right and cost < least * (1.0 - 1e-6):
            best, least = found, cost
        if (
            right
            and trial == 0
            and float(np.abs(equations(found, distances, held)[0]).max()) < REFUSED_M / TAPE_ERROR_M
        ):
            break
    if best is None:
        raise SceneError(
            "the tape distances",
            "they give no floor whose corners jut into the room where you said",
            "go round again from the front left corner with the wall at your left hand, and name corners that jut in",
        )
    return best


def _refuse_longer(floor: Floor, distances: tuple[Distance, ...]) -> None:
    """Refuse a reading that is longer than a way round it along other readings."""
    for place, one in enumerate(distances):
        reach = np.full(floor.count, np.inf)
        reach[one.start] = 0.0
        others = distances[:place] + distances[place + 1 :]
        for _ in range(floor.count):
            for other in others:
                reach[other.end] = min(reach[other.end], reach[other.start] + other.metres)
                reach[other.start] = min(reach[other.start], reach[other.end] + other.metres)
        if one.metres > reach[one.end] + REFUSED_M:
            raise SceneError(
                "the tape distances",
                f"{_name((one.start, one.end))} is {one.metres:.2f} m, longer than {reach[one.end]:.2f} m round it",
                "measure it and those beside it again, and check the unit",
            )


def _name(pair: tuple[int, int]) -> str:
    return "".join(chr(ord("A") + corner) for corner in pair)


def _open(floor: Floor, distances: Sequence[Distance], start: FloatArray, held: Sequence[int]) -> tuple[str, str, str]:
    pair = open_pair(floor, distances)
    wanted = f"the distance {_name(pair)}" if pair else "more distances between corners"
    return "the tape distances", "they leave the shape of the floor open", f"measure {wanted} as well"


def _far_off(balance: Balance) -> tuple[str, str, str]:
    worst = int(np.argmax(np.abs(balance.misfit_m)))
    named = [_name((balance.distances[one].start, balance.distances[one].end)) for one in balance.suspects]
    one = balance.distances[worst]
    found = f"they miss each other by {abs(balance.misfit_m[worst]):.2f} m at {_name((one.start, one.end))}"
    return "the tape distances", found, f"measure {' or '.join(named) if named else 'them'} again, and check the unit"
