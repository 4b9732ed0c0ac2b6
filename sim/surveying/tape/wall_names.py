"""What the walls of an outline are called that was measured corner by corner."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sim.errors import SceneError
from sim.geometry.patches import compass_name, numbered
from sim.surveying.tape.balance_words import LETTERS

NEAR_M = 0.01
"""Corners nearer than this to each other are one."""


def named_walls(corners: Sequence[tuple[float, float]]) -> tuple[tuple[str, float, float], ...]:
    """Return name and first corner of each wall of an outline given once round, in either direction, in metres.

    Walls are called after the direction they lie in; of several in one direction the longest keeps the bare name.

    Raises
    ------
    SceneError
        If corners are fewer than three or more than letters, lie on each other, or walls cross.
    """
    import shapely

    if not 3 <= len(corners) <= len(LETTERS):
        raise SceneError("--corner", f"{len(corners)} are given", f"give 3 to {len(LETTERS)}, once round the floor")
    steps = [(b[0] - a[0], b[1] - a[1]) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
    lengths = [math.hypot(*step) for step in steps]
    for number, length in enumerate(lengths):
        if not length >= NEAR_M:
            pair = f"{LETTERS[number]} and {LETTERS[(number + 1) % len(corners)]}"
            raise SceneError("--corner", f"{pair} are in one place", "give each corner once")
    if min(min(one) for one in corners) < -1e-9:
        raise SceneError(
            "--corner", "one lies before the front or left wall", "count from the foremost and leftmost corner"
        )
    shape = shapely.Polygon(corners)
    if not shape.is_valid or shape.area < 1.0:
        raise SceneError(
            "--corner", "the walls cross each other, or enclose no floor", "go round once, corner by corner"
        )
    clockwise = not shapely.LinearRing(corners).is_ccw  # from_front down the page, from_left to the right
    sign = 1.0 if clockwise else -1.0
    outward = [
        np.array([-sign * step[1], sign * step[0], 0.0]) / length for step, length in zip(steps, lengths, strict=True)
    ]
    names = numbered([compass_name(one) for one in outward], lengths)
    return tuple((name, *corner) for name, corner in zip(names, corners, strict=True))
