"""A balanced outline in words: how well the tape readings fit together, and which of them to measure again."""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.blueprint.units import UNIT_M, difference_words, is_imperial, length_words, small_words
from sim.surveying.tape.balance import SQUARE_DEG, Balance, square_without

LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
"""Names of corners, clockwise from the left end of the front wall."""
ALIKE_M: Final = 0.02
"""Opposite walls that differ by less look like those of a rectangle."""
NOTED_M: Final = 0.01
_DECIMALS: Final = {"m": 3, "cm": 1, "mm": 0}
_NUMBERS: Final = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


def pair_name(start: int, end: int) -> str:
    """What the distance between two corners is called: "AC"."""
    return f"{LETTERS[min(start, end)]}{LETTERS[max(start, end)]}"


def reading_names(balance: Balance) -> list[str]:
    """Names of the readings, a wall in the direction one walks: "DA"."""
    return [
        LETTERS[one.start] + LETTERS[one.end]
        if (one.start + 1) % balance.floor.count == one.end
        else pair_name(one.start, one.end)
        for one in balance.distances
    ]


def balance_lines(balance: Balance, unit: str) -> list[str]:
    """Say how well readings fit together, what the diagonals tell, and what to measure again."""
    count = len(balance.distances)
    number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    lines = _diagonals(balance, unit)
    if balance.redundancy == 0:
        return [
            *lines,
            f"Nothing checks these {number} readings: one more distance between corners would.",
            *_skew(balance),
        ]
    largest = float(np.abs(balance.misfit_m).max())
    if balance.fits:
        most = small_words(largest, unit)
        lines.append(f"The {number} readings fit together" + (f" to {most}." if largest > 5e-5 else " exactly."))
        return [*lines, *_skew(balance)]
    lines.append(f"The {number} readings do not fit together. What balancing them changes:")
    names = reading_names(balance)
    for name, one, misfit, fitting in zip(names, balance.distances, balance.misfit_m, balance.fitting_m, strict=True):
        rest = f"; all others together say {exact_words(fitting, unit)}" if np.isfinite(fitting) else ""
        lines.append(f"  {name} {exact_words(one.metres, unit)}: {difference_words(float(misfit), unit)}{rest}")
    return [*lines, *_blame(balance, names, unit), *_skew(balance)]


def exact_words(metres: float, unit: str) -> str:
    """A reading as a tape shows it, with its unit: to a millimetre, or as sentences have inches."""
    if is_imperial(unit):
        return length_words(metres, unit)
    number = f"{metres / UNIT_M[unit]:.{_DECIMALS[unit]}f}"
    whole, _, part = number.partition(".")
    least = {"m": 2}.get(unit, 0)
    part = part[:least] + part[least:].rstrip("0")
    return f"{whole}.{part} {unit}" if part else f"{whole} {unit}"


def _diagonals(balance: Balance, unit: str) -> list[str]:
    """What the two diagonals of a room that looks like a rectangle say."""
    if balance.floor.count != 4:
        return []
    known = {frozenset((one.start, one.end)): one.metres for one in balance.distances}
    walls = [known.get(frozenset((corner, (corner + 1) % 4))) for corner in range(4)]
    first, second = known.get(frozenset((0, 2))), known.get(frozenset((1, 3)))
    a, b, c, d = walls
    if None in walls or first is None or second is None or abs(first - second) < NOTED_M:
        return []
    if a is None or b is None or c is None or d is None or abs(a - c) > ALIKE_M or abs(b - d) > ALIKE_M:
        return []
    apart = small_words(abs(first - second), unit)
    if balance.fits:
        return [f"The two diagonals differ by {apart}: the corners are not square, and all readings agree on that."]
    return [f"The two diagonals differ by {apart}: one is wrong, or the corners are not square."]


def _blame(balance: Balance, names: list[str], unit: str) -> list[str]:
    """Which reading is likely wrong, as far as the redundancy tells."""
    suspects, corners = balance.suspects, balance.suspect_corners
    if len(suspects) == 1 and not corners:
        index = suspects[0]
        said = (
            f"{names[index]} is the likely wrong one ({abs(balance.standardised[index]):.0f} times its standard error)"
        )
        return [f"{said}: {exact_words(float(balance.fitting_m[index]), unit)} would fit. Measure it again."]
    if len(suspects) == len(names) and not corners:
        several = "Any one of them may be wrong: a single check cannot tell which."
    else:
        listed = _listed(
            [*(names[index] for index in suspects), *(f"the square corner {LETTERS[one]}" for one in corners)]
        )
        several = f"The wrong one is likely one of {listed}: these checks cannot tell them apart."
    lines = [f"{several} Measure again, or measure one more distance."]
    alone = square_without(balance)
    if alone is not None:
        fitting = exact_words(float(balance.fitting_m[alone]), unit)
        lines.append(f"If the corners are square it is {names[alone]}: with {fitting} all four would be.")
    return lines


def _skew(balance: Balance) -> list[str]:
    """Corners that the tape finds off square."""
    square = [270.0 if corner in balance.floor.inward else 90.0 for corner in range(balance.floor.count)]
    angles = balance.angles_deg
    skew = [
        f"{LETTERS[corner]} {angle:.1f}"
        for corner, (angle, right) in enumerate(zip(angles, square, strict=True))
        if abs(angle - right) > SQUARE_DEG
    ]
    if skew:
        return [f"Angles of corners that are not square, in degrees: {', '.join(skew)}."]
    if balance.held:
        return ["The corners are taken as square; diagonals would check that."]
    return ["All corners are square to half a degree."]


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
