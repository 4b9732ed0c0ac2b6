"""What each side of a surface meets: the line a tape starts from, and the name of the corner there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from ..geometry.facets import Facet
from ..geometry.room import Room

SAME_LINE_M = 2.0e-3
AT_THE_OUTSIDE_M = 0.01


@dataclass(frozen=True, slots=True)
class Ends:
    """Names of what a surface meets at its left, right, lower and upper end on the paper.

    "front wall" is a neighbour; a free edge is "its left edge".  corner names the vertical line where two walls meet,
    such as "front left corner" (left and right as seen from the seat), else it says what is met there.
    """

    left: str
    right: str
    lower: str
    upper: str
    left_corner: str
    right_corner: str


def ends_of(room: Room, facet: Facet, directions: tuple[FloatArray, FloatArray], reach_m: FloatArray) -> Ends:
    """Name the ends of a piece of the plane of `facet`.

    directions are the unit vectors to the right and up on the paper; reach_m (2, 2) says from where (first row) to
    where (second row) the piece reaches along them, as `point @ direction`.
    """
    told = []
    for column, direction in enumerate(directions):
        for row in (0, 1):
            found = _neighbour(room, facet, direction, float(reach_m[row, column]), directions, reach_m)
            told.append(found)
    of_room = facet.owner == room.owners[0]
    free = [*_edge_words(directions[0], of_room), *_edge_words(directions[1], of_room)]
    left, right, lower, upper = (found or f"its {word} edge" for found, word in zip(told, free, strict=True))
    corners = [_corner(room, facet, directions[0], float(reach_m[row, 0]), found) for row, found in enumerate(told[:2])]
    return Ends(left, right, lower, upper, corners[0] or left, corners[1] or right)


def _edge_words(direction: FloatArray, of_room: bool) -> tuple[str, str]:
    """Words for the edges at which a direction (3,) starts and ends; left and right are those of the seat."""
    depth, across, up = (float(value) for value in direction)
    if up > abs(depth) and up > abs(across):
        return ("lower", "upper")
    pair = ("left", "right") if abs(across) >= abs(depth) else (("front", "rear") if of_room else ("far", "near"))
    return pair if (across if abs(across) >= abs(depth) else depth) > 0.0 else (pair[1], pair[0])


def _neighbour(
    room: Room, facet: Facet, direction: FloatArray, along_m: float,
    directions: tuple[FloatArray, FloatArray], reach_m: FloatArray,
) -> str:  # fmt: skip
    """Name of the surface that meets this one along most of the line at `along_m`; empty when it ends free."""
    if facet.owner != room.owners[0]:
        return ""
    own = [n for n, other in enumerate(room.facets) if other.plane == facet.plane and other.owner == facet.owner]
    lengths: dict[str, float] = {}
    for ends, pair in zip(room.edges.ends, room.edges.facets, strict=True):
        if np.isin(pair, own).sum() != 1 or pair.min() < 0:
            continue
        if np.abs(ends @ direction - along_m).max() > SAME_LINE_M:
            continue
        middle = ends.mean(axis=0)
        if any(
            not low - SAME_LINE_M <= middle @ way <= high + SAME_LINE_M
            for way, (low, high) in zip(directions, reach_m.T, strict=True)
        ):
            continue
        other = room.facets[int(pair[0]) if int(pair[1]) in own else int(pair[1])]
        lengths[other.name] = lengths.get(other.name, 0.0) + float(np.linalg.norm(ends[1] - ends[0]))
    return max(lengths, key=lambda name: lengths[name], default="")


def _corner(room: Room, facet: Facet, right: FloatArray, along_m: float, neighbour: str) -> str:
    """Name the "front left corner" where two walls meet at the outside of the room; else say which surface is met."""
    if not neighbour:
        return ""
    shell = room.triangles[room.owner_of_triangle == 0].reshape(-1, 3)
    low, high = shell.min(axis=0)[:2], shell.max(axis=0)[:2]
    foot = facet.normal * facet.offset_m
    place = (foot + (along_m - foot @ right) * right)[:2]
    outside = np.minimum(np.abs(place - low), np.abs(place - high)).max() <= AT_THE_OUTSIDE_M
    if abs(facet.normal[2]) > 0.02 or not outside:
        return f"corner with {neighbour}"
    depth, across = np.abs(place - high) < np.abs(place - low)
    return f"{'rear' if depth else 'front'} {'right' if across else 'left'} corner"
