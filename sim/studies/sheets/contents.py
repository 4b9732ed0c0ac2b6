"""What stands on or before a surface, and outlines of things as they appear on the paper of a view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.room import KeepClear, Opening
from sim.blueprint.schema import Blueprint
from sim.geometry.patches import DIRECTIONS, Face, rectangle_between
from sim.geometry.room import Room
from sim.geometry.unions import united_polygon
from sim.placement.built_scene import BuiltScene
from sim.placement.panels import THINNEST_M, PlacedPanel
from sim.showing.surface_views import middle_of
from sim.studies.sheets.readings import PanelReading, ReflectionPoint, letters_of
from sim.studies.sheets.records import Label, Layer, Mark, Outline
from sim.studies.sheets.surfaces import Surface, View

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
                fraction = levels[a] / (levels[a] - levels[b])
                crossing.append(corners[a] + fraction * (corners[b] - corners[a]))
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


# What stands on or before a surface: openings, zones to keep clear, furniture, loudspeakers, panels, points.


@dataclass(frozen=True, slots=True)
class OpeningShape:
    """One outline (n, 3) of an opening in metres, the number of its plane, and the normal (3,) toward the air."""

    opening: Opening
    outline: FloatArray
    plane: int
    normal: FloatArray

    @property
    def words(self) -> str:
        """Name of the opening and what must stay possible there."""
        if self.opening.escape:
            return f"{self.opening.name}: way out, never block"
        return f"{self.opening.name}: must open" if self.opening.must_open else self.opening.name


def opening_shapes(room: Room, opening: Opening) -> list[OpeningShape]:
    """Outlines of an opening: of the surfaces that bear its name, else the rectangle of its spans in its surface."""
    made = []
    for number in room.facet_numbers(opening.name):
        facet = room.facets[number]
        shape = united_polygon(facet.to_plane(room.triangles[room.facet_of_triangle == number]))
        made += [OpeningShape(opening, facet.from_plane(ring), facet.plane, facet.normal) for ring in rings_of(shape)]
    if made:
        return made
    for number in room.facet_numbers(opening.surface)[:1]:
        facet = room.facets[number]
        face = Face(facet.name, "walls", facet.frame[0], facet.frame[1], facet.frame[2], facet.normal, ())
        spans = {key: span for key in DIRECTIONS if (span := getattr(opening, key)) is not None}
        rectangle = rectangle_between(spans, face, f'openings "{opening.name}"')
        outline = face.lifted(np.asarray(rectangle.exterior.coords)[:-1])
        made.append(OpeningShape(opening, outline, facet.plane, facet.normal))
    return made


# What stands on or before a surface: openings, zones to keep clear, furniture, loudspeakers, panels, points.

NEAR_M = 0.60
"""Furniture and zones within this of a surface are drawn on it: what a panel there could run into."""

Drawn = tuple[list[Outline], list[Label]]


def facet_rings(room: Room, number: int, view: View) -> list[FloatArray]:
    """Rings (n, 2) of one facet on the paper of a view."""
    facet = room.facets[number]
    shape = united_polygon(facet.to_plane(room.triangles[room.facet_of_triangle == number]))
    return [view.flatten(facet.from_plane(ring)) for ring in rings_of(shape)]


def other_facets(room: Room, surface: Surface, openings: Sequence[Opening]) -> Drawn:
    """Facets of other names that continue a surface, and its openings."""
    planes = {piece.plane for piece in surface.pieces}
    known = {opening.name for opening in openings} | {surface.name}
    lines: list[Outline] = []
    labels: list[Label] = []
    for number, facet in enumerate(room.facets):
        if facet.plane in planes and facet.owner == room.owners[0] and facet.name not in known:
            rings = facet_rings(room, number, surface.view)
            lines += [Outline(ring, "WALLS", weight="fine") for ring in rings]
            if facet.name not in {opening.surface for opening in openings}:  # the opening has its own name
                labels += [Label(facet.name, _upper(ring), "WALLS") for ring in rings[:1]]
    for opening in openings:
        for shape in opening_shapes(room, opening):
            if shape.plane in planes:
                ring = surface.view.flatten(shape.outline)
                lines.append(Outline(ring, "OPENINGS"))
                labels.append(Label(shape.words, _upper(ring), "OPENINGS"))
    return lines, labels


def _upper(ring: FloatArray) -> FloatArray:
    """A spot (2,) near the upper edge of a ring, where a name hides little."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    return np.asarray(low + np.array([0.5, 0.9]) * (high - low), dtype=np.float64)


def zones(blueprint: Blueprint, surface: Surface, room: Room) -> Drawn:
    """Zones to keep clear near a surface, with their clearance."""
    lines: list[Outline] = []
    labels: list[Label] = []
    for zone in blueprint.keep_clear:
        corners = bounds_corners(zone_spans(zone))
        if any(_distance_m(room, piece.facet, corners) <= NEAR_M for piece in surface.pieces):
            ring = _rectangle(surface.view.flatten(corners))
            lines.append(Outline(ring, "KEEP-CLEAR", dash="dotted", weight="medium"))
            labels.append(Label(f"{zone.name}: keep clear", middle_of(ring), "KEEP-CLEAR"))
    return lines, labels


def zone_spans(zone: KeepClear) -> FloatArray:
    """Spans (3, 2) of a zone with its clearance."""
    spans = np.array([zone.from_front, zone.from_left, zone.up])
    return spans + zone.clearance * np.array([-1.0, 1.0])


def furniture(built: BuiltScene, surface: Surface) -> Drawn:
    """Outlines of what stands within reach of a surface and before it; loudspeakers too."""
    import shapely

    room = built.room
    names = [loudspeaker.name for loudspeaker in built.loudspeakers]
    letters = letters_of(names)
    boxes = {one.body: letters[one.name] for one in built.loudspeakers if one.corners is not None}
    covered = shapely.union_all([shapely.Polygon(piece.rings[0]) for piece in surface.pieces])
    lines: list[Outline] = []
    labels: list[Label] = []
    for owner in room.owners[1:]:
        triangles = body_triangles(room, owner)
        if not any(_distance_m(room, piece.facet, triangles.reshape(-1, 3)) <= NEAR_M for piece in surface.pieces):
            continue
        layer: Layer = "LOUDSPEAKERS" if owner in boxes else "FURNITURE"
        seen = shapely.union_all([shapely.Polygon(ring) for ring in silhouette(triangles, surface.view)])
        rings = rings_of(seen.intersection(covered))
        lines += [Outline(ring, layer, dash="dashed", weight="fine") for ring in rings]
        labels += [Label(boxes.get(owner, owner), middle_of(ring), layer, bold=owner in boxes) for ring in rings[:1]]
    return lines, labels


def panels(readings: Sequence[PanelReading]) -> Drawn:
    """Panels as hatched rectangles with their numbers."""
    lines = [Outline(reading.corners, "PANELS", weight="medium", fill="hatch") for reading in readings]
    labels = [
        Label(reading.number, middle_of(reading.corners), "PANELS", bold=True, upright=True) for reading in readings
    ]
    return lines, labels


def marks(points: Sequence[ReflectionPoint], view: View) -> tuple[Mark, ...]:
    """Points with the letter of their loudspeaker, one for each plane, its loudest; all others are dots."""
    lettered = loudest(points)
    dots = [Mark(view.flatten(point.place), "", "dot") for point in points if point not in lettered]
    return (*dots, *(Mark(view.flatten(point.place), point.letter, point.shape) for point in lettered))


def loudest(points: Sequence[ReflectionPoint]) -> list[ReflectionPoint]:
    """The loudest point of each loudspeaker in each plane."""
    best: dict[tuple[str, int], ReflectionPoint] = {}
    for point in points:
        key = (point.loudspeaker, point.plane)
        if point.main and (key not in best or point.level_db > best[key].level_db):
            best[key] = point
    return list(best.values())


def _distance_m(room: Room, facet_number: int, points: FloatArray) -> float:
    """How far the nearest of some points is from the plane of a facet; bodies behind it are far away."""
    facet = room.facets[facet_number]
    away = points @ facet.normal - facet.offset_m
    return float(away.min()) if away.max() > 0.0 else float("inf")


def _rectangle(flat: FloatArray) -> FloatArray:
    (a, b), (c, d) = flat.min(axis=0), flat.max(axis=0)
    return np.array([[a, b], [c, b], [c, d], [a, d]])
