"""Patches, the named pieces of surface: flat faces before triangles, how they are called and made of what."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.errors import SceneError

if TYPE_CHECKING:
    from shapely import Polygon


@dataclass(frozen=True, slots=True)
class Patch:
    """A piece of surface of one name and one material; need not be flat.

    Attributes
    ----------
    name
        What a person calls it: "left wall", "desk top", "left slope".
    owner
        "room", or the name of the furniture or loudspeaker it belongs to.
    material
        Name of its material.
    triangles
        (n, 3, 3) corners in metres, wound counter-clockwise when seen from the air.
    """

    name: str
    owner: str
    material: str
    triangles: FloatArray


# Flat room surfaces before they are cut into triangles, and how surfaces are called after their direction.

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


# Which material each room surface is made of: by its name, by the group it belongs to, or by default.

DEFAULT_MATERIALS: Mapping[Group, str] = {
    "walls": "plasterboard on studs",
    "ceiling": "plasterboard on studs",
    "floor": "wood floor",
}
GROUPS = ("walls", "ceiling", "floor", "all")
STEEPEST_CEILING = float(np.cos(np.radians(75.0)))
"""A surface steeper than 75 degrees against the horizontal is a wall; a flatter one looking down is ceiling."""


class Finishes:
    """The `room.materials` of a scene: surface name before group ("walls", "ceiling", "floor") before "all".

    Raises SceneError when a key is neither a group nor one of the names that the room has.
    """

    def __init__(self, assigned: Mapping[str, str], names: Sequence[str], also: Sequence[str] = ()) -> None:
        """Keep the assignment; `names` are the room's surfaces, `also` further keys such as file materials."""
        unknown = [key for key in assigned if key not in (*names, *also, *GROUPS)]
        if unknown:
            listed = ", ".join(f'"{name}"' for name in dict.fromkeys((*names, *also)))
            raise SceneError(
                f'room.materials."{unknown[0]}"',
                "no surface of the room has this name",
                f'the surfaces are {listed}; or use "walls", "ceiling", "floor", "all"',
            )
        self._assigned = assigned

    def exact(self, name: str) -> str | None:
        """Material assigned to this very name, which must not be read as a group; None when there is none."""
        return self._assigned.get(name)

    def material(self, name: str, group: Group) -> str:
        """Material of a surface that belongs to a group."""
        for key in (name, group, "all"):
            if key in self._assigned:
                return self._assigned[key]
        return DEFAULT_MATERIALS[group]


def group_of(inward: FloatArray) -> Group:
    """Return the group of a surface whose unit normal (3,) toward the air is given.

    Upright within 15 degrees: walls.  Otherwise looking down: ceiling, slopes included; looking up: floor,
    steps and ramps included (common practice, no source).
    """
    if abs(float(inward[2])) < STEEPEST_CEILING:
        return "walls"
    return "floor" if inward[2] > 0.0 else "ceiling"
