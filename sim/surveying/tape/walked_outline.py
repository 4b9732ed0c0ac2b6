"""An outline as one walks round it: from lengths and turns to corners that nearly close, and what shape they have."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from sim.arrays import FloatArray

USUAL_WALL_M = 2.0
"""What a wall is taken as that nothing tells, to begin with."""


def walked(
    count: int, turns: Sequence[float], lengths: Mapping[tuple[int, int], float], skew: Collection[int]
) -> FloatArray:
    """Return corners (count, 2) of an outline, from_front and from_left, where balancing may begin.

    Goes along the walls with the known lengths; turns are square, those of a corner whose diagonal was measured follow
    from the law of cosines, and those of other skew corners share what is left of a full turn.  Lengths nobody measured
    follow from closing, and what still does not close is shared among the walls.

    count, turns: corners, and +1 where one turns right, -1 where left.
    lengths: metres between corners, by their numbers, the smaller first.
    """
    wall = [lengths.get(_pair(corner, (corner + 1) % count)) for corner in range(count)]
    turn = np.array([90.0 * sign for sign in turns])
    loose = []
    for corner in range(count):
        before, after = wall[corner - 1], wall[corner]
        across = lengths.get(_pair((corner - 1) % count, (corner + 1) % count))
        if before and after and across and count > 3:
            cosine = (before**2 + after**2 - across**2) / (2.0 * before * after)
            turn[corner] = turns[corner] * (180.0 - np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))
        elif corner in skew or count == 3:
            loose.append(corner)
    if loose:
        left = 360.0 - float(turn.sum() - turn[loose].sum())
        turn[loose] = left / len(loose)
    headings = np.radians(np.concatenate([[0.0], np.cumsum(turn[1:])]))
    ways = np.column_stack([np.sin(headings), np.cos(headings)])  # the front wall runs straight to the right
    sizes = np.array([USUAL_WALL_M if one is None else one for one in wall])
    missing = [index for index, one in enumerate(wall) if one is None]
    if missing:
        gap = -(sizes[:, None] * ways).sum(axis=0)
        sizes[missing] = np.maximum(sizes[missing] + np.linalg.lstsq(ways[missing].T, gap, rcond=None)[0], 0.1)
    steps = sizes[:, None] * ways
    steps -= steps.sum(axis=0) * (sizes / sizes.sum())[:, None]  # the compass rule of traverses
    return np.concatenate([np.zeros((1, 2)), np.cumsum(steps[:-1], axis=0)])


def interior_angles_deg(corners: FloatArray) -> FloatArray:
    """Return the angle (n,) inside a clockwise outline at each corner, 0 to 360 degrees."""
    back, ahead = np.roll(corners, 1, axis=0) - corners, np.roll(corners, -1, axis=0) - corners
    turned = np.arctan2(ahead[:, 1], ahead[:, 0]) - np.arctan2(back[:, 1], back[:, 0])
    return np.asarray(np.degrees(turned) % 360.0, dtype=np.float64)


def is_simple(corners: FloatArray) -> bool:
    """Whether no wall crosses or touches another, and one has gone round clockwise as seen from above."""
    import shapely

    following = np.roll(corners, -1, axis=0)
    doubled = float(np.sum(corners[:, 0] * following[:, 1] - corners[:, 1] * following[:, 0]))
    return doubled < 0.0 and bool(shapely.Polygon(corners).is_valid)


def _pair(one: int, other: int) -> tuple[int, int]:
    return min(one, other), max(one, other)
