"""Flat room surfaces before they are cut into triangles, and how surfaces are called after their direction."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import numpy as np

from ..arrays import FloatArray, IntArray

if TYPE_CHECKING:
    from shapely import Polygon

Group = Literal["walls", "ceiling", "floor"]

_Name = TypeVar("_Name", str, int)

SMALLEST_FACE_M2 = 1e-8


@dataclass(frozen=True, slots=True)
class Face:
    """A flat room surface before it is cut into triangles.

    Attributes
    ----------
    name, group
        Its name, and the group that `room.materials` may call it by.
    origin, first, second
        (3,) a point of the plane and the two directions of its own coordinates, not always unit vectors.
    inward
        (3,) vector toward the air.
    region
        Polygons in the two coordinates.
    """

    name: str
    group: Group
    origin: FloatArray
    first: FloatArray
    second: FloatArray
    inward: FloatArray
    region: tuple[Polygon, ...]

    def lifted(self, flat: FloatArray) -> FloatArray:
        """Points (..., 3) in the room from the face's own coordinates (..., 2)."""
        return np.asarray(self.origin + flat @ np.stack([self.first, self.second]), dtype=np.float64)


def compass_name(outward: FloatArray) -> str:
    """Return the wall name of the direction (3,) that a wall lies in from the middle: front, rear, left, right.

    A wall at exactly 45 degrees counts as front or rear.
    """
    depth, across = float(outward[0]), float(outward[1])
    if abs(depth) >= abs(across) - 1e-9:
        return "front wall" if depth < 0.0 else "rear wall"
    return "left wall" if across < 0.0 else "right wall"


def numbered(names: Sequence[str], sizes: Sequence[float]) -> list[str]:
    """Make names unique: the largest of one name keeps it bare, the next is "... 2", and so on.

    Equal sizes keep their order.
    """
    order = sorted(range(len(names)), key=lambda index: (-round(sizes[index], 6), index))
    seen: dict[str, int] = {}
    result = list(names)
    for index in order:
        count = seen[names[index]] = seen.get(names[index], 0) + 1
        if count > 1:
            result[index] = f"{names[index]} {count}"
    return result


def members_of(names: Iterable[_Name]) -> dict[_Name, IntArray]:
    """Places of each different name in a list of names, in the order in which they first appear."""
    places: dict[_Name, list[int]] = {}
    for place, name in enumerate(names):
        places.setdefault(name, []).append(place)
    return {name: np.array(found, dtype=np.int64) for name, found in places.items()}


def polygons_of(shape: Any) -> tuple[Polygon, ...]:
    """Return the polygons of a shapely shape that have an area worth keeping."""
    parts = getattr(shape, "geoms", [shape])
    return tuple(part for part in parts if part.geom_type == "Polygon" and part.area > SMALLEST_FACE_M2)
