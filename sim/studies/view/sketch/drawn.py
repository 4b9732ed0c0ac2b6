"""What the page draws of a scene: walls with their lengths, lines of the room, outlines of what stands in it."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.schema import Blueprint
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker
from sim.showing.numbers import format_length
from sim.studies.view.sketch.hanging import is_radiator
from sim.studies.view.sketch.plan import Plan

DIGITS: Final = 4
VIEWS: Final = {"plan": [1, 0], "side": [0, 2]}
"""Columns of a point (depth, across, up) that each drawing shows, to the right and up or down."""


def drawing(blueprint: Blueprint, built: BuiltScene, plan: Plan) -> dict[str, Any]:
    """Return corners, walls, lines and outlines, in metres."""
    room = built.room
    names = {opening.name: opening.kind for opening in blueprint.openings}
    lines = [
        {"kind": names.get(facet.name, ""), "ends": _rounded(_border(facet))}
        for facet in room.facets
        if facet.owner == "room"
    ]
    kinds = {item.name: "radiator" if is_radiator(item.kind, item.name) else item.kind for item in blueprint.furniture}
    kinds |= {one.body: "loudspeaker" for one in built.loudspeakers if not one.built_into}
    bodies = []
    for number, owner in enumerate(room.owners):
        if owner == "room":
            continue
        points = room.triangles[room.owner_of_triangle == number].reshape(-1, 3)
        outlines = {view: _rounded(_hull(points[:, columns])) for view, columns in VIEWS.items()}
        bodies.append(
            {
                "name": owner,
                "kind": kinds.get(owner, "furniture"),
                "top": round(float(points[:, 2].max()), DIGITS),
                **outlines,
            }
        )
    for one in built.loudspeakers:
        if one.built_into and (corners := _behind_the_wall(one)) is not None:
            outlines = {view: _rounded(_hull(corners[:, columns])) for view, columns in VIEWS.items()}
            top = round(float(corners[:, 2].max()), DIGITS)
            bodies.append({"name": one.name, "kind": "built-in", "top": top, **outlines})
    units = blueprint.units
    ends = [*plan.corners[1:], plan.corners[0]]
    return {
        "corners": [[round(f, 6), round(a, 6)] for f, a in plan.corners],
        "walls": [
            {"name": name, "long": format_length(float(np.hypot(c - a, d - b)), units)}
            for name, (a, b), (c, d) in zip(plan.walls, plan.corners, ends, strict=True)
        ],
        "height": round(plan.height_m, DIGITS),
        "high": format_length(plan.height_m, units),
        "lines": lines,
        "bodies": sorted(bodies, key=lambda body: float(body["top"])),
        "ears": _rounded(built.ears),
        "seats": list(built.listener_names),
        "axes": [{"name": one.name, "at": _rounded(one.axis_point)} for one in built.loudspeakers],
    }


def axes_above_m(built: BuiltScene) -> dict[str, float]:
    """How far the acoustic axis of each loudspeaker is above the lowest point of its cabinet."""
    found = {}
    for one in built.loudspeakers:
        number = built.room.owner_number(one.body)
        if one.built_into and (corners := _behind_the_wall(one)) is not None:
            found[one.name] = float(one.axis_point[2]) - float(corners[:, 2].min())
        elif number >= 0:
            lowest = float(built.room.triangles[built.room.owner_of_triangle == number][..., 2].min())
            found[one.name] = float(one.axis_point[2]) - lowest
    return found


def _behind_the_wall(one: PlacedLoudspeaker) -> FloatArray | None:
    """Corners (8, 3) of the cabinet of a monitor that is built in, which is no body of the room; None without one."""
    size = one.model.cabinet_size_m
    if size is None:
        return None
    (width, height, depth), (right, up) = size, one.model.axis_on_baffle_m
    ends = [(-depth, 0.0), (-0.5 * width - right, 0.5 * width - right), (-0.5 * height - up, 0.5 * height - up)]
    local = np.stack(np.meshgrid(*ends), axis=-1).reshape(-1, 3)
    return np.asarray(one.axis_point + local @ one.rotation.T)


def _border(facet: Any) -> FloatArray:
    border = facet.border
    return np.stack([facet.from_plane(border[:, :2]), facet.from_plane(border[:, 2:])], axis=1)


def _hull(points: FloatArray) -> FloatArray:
    """Corners of the outline of points in a plane, the last not the first again."""
    from shapely import MultiPoint, Polygon

    hull = MultiPoint(np.round(points, 6)).convex_hull
    if isinstance(hull, Polygon):
        return np.asarray(hull.exterior.coords)[:-1]
    return np.asarray(hull.coords)


def _rounded(values: Any) -> list[Any]:
    found: list[Any] = (np.round(np.asarray(values, dtype=np.float64), DIGITS) + 0.0).tolist()
    return found
