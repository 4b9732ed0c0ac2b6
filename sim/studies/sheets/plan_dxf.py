"""The plan of a scene as DXF in millimetres: room, openings, furniture, monitors, panels and seats on their layers.

To the right is from the left wall, up is toward the front; the room's own corner is the zero point.  The outline is one
closed polyline on its layer, so that whoever reads it back gets the very corners of the scene.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final

import numpy as np
from ezdxf.document import Drawing as DxfDocument
from ezdxf.layouts.layout import Modelspace

from sim.arrays import FloatArray
from sim.blueprint.reader import SceneFile
from sim.placement.built_scene import BuiltScene
from sim.studies.sheets.contents import (
    body_triangles,
    bounds_corners,
    convex_ring,
    opening_shapes,
    panel_body,
    silhouette,
    zone_spans,
)
from sim.studies.sheets.dxf import cad_words, new_document, write_document
from sim.studies.sheets.empty_room import room_corners
from sim.studies.sheets.surfaces import View

FROM_ABOVE: Final = View(np.array([0.0, 1.0, 0.0]), np.array([-1.0, 0.0, 0.0]), np.zeros(2))
PLAN_LAYERS: Final = {
    "ROOM": 7,
    "OPENINGS": 5,
    "KEEP-CLEAR": 1,
    "FURNITURE": 8,
    "MONITORS": 6,
    "PANELS": 94,
    "SEATS": 30,
    "NAMES": 7,
}
"""Layers and their numbers in the format's own colour table."""
NAME_MM: Final = 60.0


def write_plan_dxf(scene: SceneFile, built: BuiltScene, path: Path) -> None:
    """Write the plan of a scene.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    write_document(plan_document(scene, built), path, "the plan")


def plan_document(scene: SceneFile, built: BuiltScene) -> DxfDocument:
    """Draw the plan into a document in memory."""
    document = new_document()
    for name, colour in PLAN_LAYERS.items():
        document.layers.add(name, color=colour)
    space, room = document.modelspace(), built.room
    corners = room_corners(scene, room)
    _closed(space, [np.column_stack([corners[:, 1], -corners[:, 0]])], "ROOM")
    for opening in scene.blueprint.openings:
        rings = [convex_ring(shape.outline, FROM_ABOVE) for shape in opening_shapes(room, opening)]
        _closed(space, rings, "OPENINGS", opening.name)
    for zone in scene.blueprint.keep_clear:
        _closed(space, [convex_ring(bounds_corners(zone_spans(zone)), FROM_ABOVE)], "KEEP-CLEAR", zone.name)
    monitors = {one.body: one.name for one in built.loudspeakers if one.corners is not None}
    for owner in room.owners[1:]:
        layer = "MONITORS" if owner in monitors else "FURNITURE"
        _closed(space, silhouette(body_triangles(room, owner), FROM_ABOVE), layer, monitors.get(owner, owner))
    for one in built.loudspeakers:
        _point(space, one.axis_point, "MONITORS", "" if one.corners is not None else one.name)
    for panel in built.panels:
        _closed(space, [convex_ring(panel_body(panel), FROM_ABOVE)], "PANELS", panel.name)
    for name, ear in zip(built.listener_names, built.ears, strict=True):
        _point(space, ear, "SEATS", name)
    depth, width = np.ptp(corners, axis=0)
    document.set_modelspace_vport(height=1200.0 * float(depth), center=(500.0 * float(width), -500.0 * float(depth)))
    return document


def _closed(space: Modelspace, rings: Iterable[FloatArray], layer: str, name: str = "") -> None:
    """Add closed outlines (n, 2) in metres; what is seen edge on is a line."""
    for number, ring in enumerate(rings):
        places = [(1000.0 * float(x), 1000.0 * float(y)) for x, y in ring]
        space.add_lwpolyline(places, close=len(places) > 2, dxfattribs={"layer": layer})
        if name and number == 0:
            _name(space, np.mean(places, axis=0), name)


def _point(space: Modelspace, point: FloatArray, layer: str, name: str) -> None:
    """Add a point of the room, and its name beside it."""
    x, y = (1000.0 * float(value) for value in FROM_ABOVE.flatten(point))
    space.add_point((x, y), dxfattribs={"layer": layer})
    if name:
        _name(space, np.array([x + NAME_MM, y]), name)


def _name(space: Modelspace, place: FloatArray, name: str) -> None:
    text = space.add_text(cad_words(name), height=NAME_MM, dxfattribs={"layer": "NAMES"})
    text.set_placement((float(place[0]), float(place[1])))
