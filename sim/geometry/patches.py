"""Patches, the named pieces of surface, and the windows, doors and hatches that are cut out of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.blueprint.room import Opening
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


def compass_name(outward: FloatArray | Sequence[float]) -> str:
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
    falling = [-round(size, 6) for size in sizes]
    order = sorted(range(len(names)), key=falling.__getitem__)
    seen: dict[str, int] = {}
    result = list(names)
    for index in order:
        count = seen[names[index]] = seen.get(names[index], 0) + 1
        if count > 1:
            result[index] = f"{names[index]} {count}"
    return result


def members_of(names: Iterable[_Name]) -> dict[_Name, IntArray]:
    """Places of each different name in a list of names, in the order in which they first appear."""
    number: dict[_Name, int] = {}
    numbers = np.array([number.setdefault(name, len(number)) for name in names], dtype=np.int64)
    order = np.argsort(numbers, kind="stable")
    ends: list[int] = np.cumsum(np.bincount(numbers)).tolist()
    return {name: order[start:end] for name, start, end in zip(number, [0, *ends], ends, strict=False)}


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

    def of_group(self, group: Group) -> str:
        """Material of the surfaces of a group that have none of their own."""
        for key in (group, "all"):
            if key in self._assigned:
                return self._assigned[key]
        return DEFAULT_MATERIALS[group]

    def material(self, name: str, group: Group) -> str:
        """Material of a surface that belongs to a group."""
        return self._assigned[name] if name in self._assigned else self.of_group(group)


def group_of(inward: FloatArray | Sequence[float]) -> Group:
    """Return the group of a surface whose unit normal (3,) toward the air is given.

    Upright within 15 degrees: walls.  Otherwise looking down: ceiling, slopes included; looking up: floor,
    steps and ramps included (common practice, no source).
    """
    if abs(float(inward[2])) < STEEPEST_CEILING:
        return "walls"
    return "floor" if inward[2] > 0.0 else "ceiling"


def groups_of(inward: FloatArray) -> list[Group]:
    """`group_of` many surfaces, of whose unit normals (n, 3) are given."""
    up = inward[:, 2]
    groups: list[Group] = np.where(
        np.abs(up) < STEEPEST_CEILING, "walls", np.where(up > 0.0, "floor", "ceiling")
    ).tolist()
    return groups


# Windows, doors and hatches: rectangles cut out of flat room surfaces and made surfaces of their own.

MATERIAL_BY_KIND = {
    "window": "window glass",
    "door": "wooden door",
    "sliding door": "heavy glass",
    "hatch": "wood floor",
    "opening": "open",
}
EDGE_TOLERANCE_M = 2e-3
"""An opening may pass the edge of its surface by this much (tapes read to a millimetre) and is then trimmed."""

DIRECTIONS = ("from_front", "from_left", "up")


def with_openings(faces: Sequence[Face], openings: Sequence[Opening]) -> tuple[tuple[Face, ...], tuple[Face, ...]]:
    """Cut the openings out of the faces: returns the faces that are left, and one face for each opening.

    Raises
    ------
    SceneError
        If an opening names no surface, its spans do not bound a rectangle in it, it leaves the surface, or it
        overlaps another opening.
    """
    whole = {face.name: face for face in faces}
    left = dict(whole)
    cut: list[Face] = []
    for opening in openings:
        where = f'openings "{opening.name}"'
        if opening.surface not in whole:
            names = ", ".join(f'"{name}"' for name in whole)
            raise SceneError(
                f"{where}: surface", f'no surface is called "{opening.surface}"', f"the surfaces are {names}"
            )
        face = whole[opening.surface]
        spans = {key: span for key in DIRECTIONS if (span := getattr(opening, key)) is not None}
        rectangle = rectangle_between(spans, face, where)
        trimmed = _inside(rectangle, face, where)
        remaining = left[face.name]
        if trimmed.area - sum(part.intersection(trimmed).area for part in remaining.region) > 1e-6:
            raise SceneError(
                where, f'it overlaps another opening in "{face.name}"', "move it, or merge the two openings"
            )
        kept = tuple(part for whole_part in remaining.region for part in polygons_of(whole_part.difference(trimmed)))
        left[face.name] = replace(remaining, region=kept)
        cut.append(replace(face, name=opening.name, region=(trimmed,)))
    return tuple(face for face in left.values() if face.region), tuple(cut)


def rectangle_between(given: Mapping[str, tuple[float, float]], face: Face, where: str) -> Polygon:
    """Return the part of the face's plane between spans (named as `DIRECTIONS`), in the face's own coordinates.

    Two of the three distances from the walls and the floor place a point in a plane, unless the plane runs
    along one of them.  `where` names the key for the SceneError raised when the spans bound no rectangle.
    """
    import shapely

    maps = np.stack([face.first, face.second], axis=1)
    spans = {key: np.array(span) for key, span in given.items()}
    varying = [key for key in spans if np.linalg.norm(maps[DIRECTIONS.index(key)]) > 1e-9]
    for key in spans:
        level = face.origin[DIRECTIONS.index(key)]
        if key not in varying and not spans[key][0] - EDGE_TOLERANCE_M <= level <= spans[key][1] + EDGE_TOLERANCE_M:
            raise SceneError(
                f"{where}: {key}",
                f'"{face.name}" lies at {key} = {level:.3f} m, outside {spans[key][0]:.3f} to {spans[key][1]:.3f} m',
                f'leave "{key}" out, or name another surface',
            )
    rows = [DIRECTIONS.index(key) for key in varying]
    if len(varying) != 2 or abs(float(np.linalg.det(maps[rows]))) < 1e-6:
        wanted = [key for key, row in zip(DIRECTIONS, maps, strict=True) if np.linalg.norm(row) > 1e-9]
        raise SceneError(
            where,
            f'its place in "{face.name}" needs two spans along that surface, and it has '
            + (" and ".join(varying) if varying else "none"),
            f"give two of {', '.join(wanted)}",
        )
    (a0, a1), (b0, b1) = spans[varying[0]], spans[varying[1]]
    values = np.array([[a0, b0], [a1, b0], [a1, b1], [a0, b1]]) - face.origin[rows]
    return shapely.Polygon(np.linalg.solve(maps[rows], values.T).T)


def _inside(rectangle: Polygon, face: Face, where: str) -> Polygon:
    """Trim what passes the edge of the face by less than the tolerance; refuse what passes it further."""
    for part in face.region:
        if part.buffer(EDGE_TOLERANCE_M, join_style="mitre").covers(rectangle):
            trimmed = polygons_of(rectangle.intersection(part))
            if len(trimmed) == 1:
                return trimmed[0]
    corners = face.lifted(np.asarray(rectangle.exterior.coords)[:-1])
    surface = face.lifted(np.concatenate([np.asarray(part.exterior.coords)[:-1] for part in face.region]))
    raise SceneError(
        where,
        f'it reaches over the edge of "{face.name}": the opening spans {spans_in_words(corners)}, '
        f"the surface {spans_in_words(surface)}",
        "correct its spans, or name the surface it is really in",
    )


def spans_in_words(points: FloatArray) -> str:
    """Say from where to where points (n, 3) reach, in the directions in which they differ."""
    low, high = points.min(axis=0), points.max(axis=0)
    return ", ".join(
        f"{key} {low[index]:.2f} to {high[index]:.2f} m"
        for index, key in enumerate(DIRECTIONS)
        if high[index] - low[index] > 1e-6
    )
