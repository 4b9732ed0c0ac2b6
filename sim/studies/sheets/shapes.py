"""Outlines of things as they appear on the paper of a view: silhouettes, openings, cuts."""

from __future__ import annotations

from typing import Any

import numpy as np

from sim.arrays import FloatArray
from sim.geometry.room import Room
from sim.placement.panels import THINNEST_M, PlacedPanel
from sim.studies.sheets.surfaces import View

SNAP_M = 1e-6
SMALLEST_M2 = 1e-6


def body_triangles(room: Room, owner: str) -> FloatArray:
    """Triangles (n, 3, 3) of a piece of furniture or a loudspeaker's box."""
    return np.asarray(room.triangles[room.owner_of_triangle == room.owner_number(owner)], dtype=np.float64)


def silhouette(triangles: FloatArray, view: View) -> list[FloatArray]:
    """Rings (n, 2) of everything that triangles (n, 3, 3) cover as seen in a view; none when seen edge on."""
    import shapely

    flat = view.flatten(triangles)
    first, second = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    area = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])
    united = shapely.union_all(shapely.polygons(flat[area > 1e-9]), grid_size=SNAP_M)
    return rings_of(united.simplify(SNAP_M))


def rings_of(shape: Any) -> list[FloatArray]:
    """Rings (n, 2) of a shapely polygon or several, holes included, without the repeated last corner."""
    parts = [
        part for part in getattr(shape, "geoms", [shape]) if part.geom_type == "Polygon" and part.area > SMALLEST_M2
    ]
    return [np.asarray(loop.coords)[:-1, :2] for part in parts for loop in (part.exterior, *part.interiors)]


def convex_ring(points: FloatArray, view: View) -> FloatArray:
    """Outline (n, 2) of a convex body told by its corners (m, 3); a line (2, 2) when it is seen edge on."""
    import shapely

    hull: Any = shapely.convex_hull(shapely.MultiPoint(view.flatten(points)))
    loop = hull.exterior if hull.geom_type == "Polygon" else hull
    ring = np.asarray(loop.coords)[:, :2]
    return ring[:-1] if hull.geom_type == "Polygon" else ring


def cut(triangles: FloatArray, place: FloatArray, normal: FloatArray, view: View) -> list[FloatArray]:
    """Lines (n, 2) along which a plane through `place` (3,) with unit `normal` (3,) cuts triangles (n, 3, 3)."""
    import shapely

    height = (triangles - place) @ normal
    segments = []
    for corners, levels in zip(triangles, height, strict=True):
        crossing = []
        for a, b in ((0, 1), (1, 2), (2, 0)):
            if (levels[a] > 0.0) != (levels[b] > 0.0):
                share = levels[a] / (levels[a] - levels[b])
                crossing.append(corners[a] + share * (corners[b] - corners[a]))
        if len(crossing) == 2:
            flat = np.round(view.flatten(np.stack(crossing)), 6)
            if np.linalg.norm(flat[1] - flat[0]) > 1e-6:
                segments.append(flat)
    if not segments:
        return []
    merged = shapely.line_merge(shapely.union_all(shapely.linestrings(np.stack(segments))))
    lines = [np.asarray(line.coords)[:, :2] for line in getattr(merged, "geoms", [merged])]
    return [np.asarray(shapely.LineString(line).simplify(SNAP_M).coords)[:, :2] for line in lines]


def bounds_corners(spans: FloatArray) -> FloatArray:
    """Corners (8, 3) of an upright box with spans (3, 2)."""
    return np.array([[x, y, z] for x in spans[0] for y in spans[1] for z in spans[2]])


def panel_body(panel: PlacedPanel) -> FloatArray:
    """Corners (8, 3) of a panel itself, without the air behind it."""
    back = panel.corners_m + panel.air_behind_m * panel.normal
    return np.concatenate([back, panel.corners_m + max(panel.depth_m, panel.air_behind_m + THINNEST_M) * panel.normal])
