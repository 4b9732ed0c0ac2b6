"""Windows, doors and hatches: rectangles cut out of flat room surfaces and made surfaces of their own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.room import Opening
from sim.errors import SceneError
from sim.geometry.patches import Face, polygons_of

if TYPE_CHECKING:
    from shapely import Polygon

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
