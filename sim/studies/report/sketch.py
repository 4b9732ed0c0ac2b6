"""The room of a report without a script: one still drawing with hotspots, and the scale of their colours.

Seen from behind the seat, a little from the left and from above, as along parallel lines.  Surfaces of the room that
face away are left out, so that one sees inside.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.geometry.room import Room
from sim.responses.records import Results, SurfaceMap
from sim.showing.page import (
    LEVEL_COLOURS,
    LOWEST_DB,
    STEP_DB,
    escaped,
    loudspeaker_looks,
    number,
)
from sim.showing.scene_data import first_band, panel_box, surface_kind
from sim.showing.viewpoint import path_points

TOWARD_VIEWER: Final = (1.0, -0.62, 0.78)
WIDTH: Final = 760.0
PADDING: Final = 14.0
FILLS: Final = {
    "room": "#f1efe9",
    "window": "#dbe6ee",
    "door": "#e7ddcd",
    "furniture": "#d8cfbf",
    "loudspeaker": "#4a4a4a",
}
_BOX: Final = ((0, 1, 2, 3), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7))
STRONGEST: Final = 3
FINEST_M: Final = 0.08
"""Cells of hotspots smaller than this are drawn two by two."""


def room_sketch(results: Results) -> str:
    """The room with the strongest reflections of each loudspeaker as one SVG element."""
    room, built = results.built.room, results.built
    view = _directions()
    corners = room.triangles.reshape(-1, 3) @ view[:2].T
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = (WIDTH - 2.0 * PADDING) / float(high[0] - low[0])
    height = (high[1] - low[1]) * scale + 2.0 * PADDING

    def flat(points: FloatArray) -> str:
        places = np.atleast_2d(points) @ view[:2].T
        across = (places[:, 0] - low[0]) * scale + PADDING
        down = (high[1] - places[:, 1]) * scale + PADDING
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(across, down, strict=True))

    shapes: list[str] = []
    facing = [number for number, facet in enumerate(room.facets) if float(facet.normal @ view[2]) > 0.0]
    farthest_first = {
        owner: float((room.triangles[room.owner_of_triangle == n].reshape(-1, 3) @ view[2]).mean())
        for n, owner in enumerate(room.owners)
    }
    farthest_first[room.owners[0]] = -np.inf
    maps = {one.facet: one for one in results.responses.maps}
    band = first_band(results)
    for place in sorted(facing, key=lambda n: farthest_first[room.facets[n].owner]):
        facet = room.facets[place]
        fill = _shaded(FILLS[surface_kind(results, facet.name, facet.owner)], facet.normal)
        for triangle in room.triangles[room.facet_of_triangle == place]:
            shapes.append(f'<polygon points="{flat(triangle)}" fill="{fill}" stroke="{fill}" stroke-width=".6"/>')
        if place in maps:
            shapes += _hotspots(room, maps[place], band, flat)
        for side in facet.border:
            ends = facet.from_plane(side.reshape(2, 2))
            shapes.append(f'<polyline points="{flat(ends)}" fill="none" stroke="#57534a" stroke-width="1"/>')
    for panel in built.panels:
        box = panel_box(panel)
        for face in _BOX:
            points = flat(box[list(face)])
            shapes.append(f'<polygon points="{points}" fill="#7f9a86" fill-opacity=".45" stroke="#3f5c4a"/>')
    for look in loudspeaker_looks([one.name for one in built.loudspeakers]):
        strongest = [
            a
            for a in results.responses.arrivals
            if a.loudspeaker == look.name and a.listener == built.listener_names[0] and 0 < a.number <= STRONGEST
        ]
        for arrival in strongest:
            shapes.append(
                f'<polyline points="{flat(path_points(results, arrival))}" fill="none" stroke="{look.colour}"'
                f' stroke-width="1.8" stroke-dasharray="{look.dashes}"/>'
            )
    x, y = flat(built.ears[0]).split(",")
    shapes.append(f'<circle cx="{x}" cy="{y}" r="5" fill="#fff" stroke="#1c1b19" stroke-width="2"/>')
    title = f"The room from behind and above, with the {number(STRONGEST, 0)} strongest reflections of each monitor"
    return (
        f'<svg class="sketch" viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img" aria-label="{escaped(title)}">'
        f"{''.join(shapes)}</svg>"
    )


def _hotspots(room: Room, surface_map: SurfaceMap, band: int, flat: Any) -> list[str]:
    """Cells above the lowest class of level as one path for each class, cut at the outline of their surface."""
    import shapely

    from sim.geometry.unions import united_polygon

    facet = room.facets[surface_map.facet]
    inside = united_polygon(facet.to_plane(room.triangles[room.facet_of_triangle == surface_map.facet]))
    grid, corner = _classes(surface_map, band)
    runs: dict[int, list[FloatArray]] = {}
    for row_number, cells in enumerate(grid):
        ends = np.flatnonzero(np.diff(np.concatenate([[-2], cells, [-2]])))
        for start, end in pairwise(ends):
            if cells[start] >= 0:
                ring = np.array(
                    [[row_number, start], [row_number, end], [row_number + 1, end], [row_number + 1, start]]
                )
                runs.setdefault(int(cells[start]), []).append(facet.to_plane(corner(ring)))
    drawn = []
    for which, rings in sorted(runs.items()):
        shape: Any = shapely.union_all(shapely.polygons(np.stack(rings)), grid_size=1e-4).intersection(inside)
        path = "".join(
            f"M{flat(facet.from_plane(np.asarray(loop.coords)[:-1, :2]))}Z"
            for part in getattr(shape, "geoms", [shape])
            if part.geom_type == "Polygon"
            for loop in (part.exterior, *part.interiors)
        )
        colour = LEVEL_COLOURS[which]
        if path:
            drawn.append(f'<path d="{path}" fill="{colour}" fill-rule="evenodd" stroke="{colour}" stroke-width=".4"/>')
    return drawn


def _classes(surface_map: SurfaceMap, band: int) -> tuple[IntArray, Any]:
    """Class of level of each cell, -1 below the lowest, and what turns corners of cells (n, 2) into places (n, 3)."""
    grid = np.full(surface_map.shape, -1, dtype=np.int64)
    classes = np.floor((surface_map.both_db[band] - LOWEST_DB) / STEP_DB)
    grid[tuple(surface_map.cell.T)] = np.clip(classes, -1, len(LEVEL_COLOURS) - 1).astype(np.int64)
    middle = surface_map.cell.mean(axis=0)
    steps = np.linalg.lstsq(
        surface_map.cell - middle, surface_map.points - surface_map.points.mean(axis=0), rcond=1e-9
    )[0]
    each = 2 if surface_map.grid_m < FINEST_M else 1

    def corner(places: IntArray) -> FloatArray:
        return np.asarray(surface_map.points.mean(axis=0) + (each * places - 0.5 - middle) @ steps)

    return grid[::each, ::each], corner


def level_scale() -> str:
    """The colours of the classes with the levels where they begin, as one SVG element."""
    wide, high = 24, 12
    boxes = [
        f'<rect x="{14 + wide * place}" y="0" width="{wide}" height="{high}" fill="{colour}"/>'
        for place, colour in enumerate(LEVEL_COLOURS)
    ]
    words = [
        f'<text x="{14 + wide * place}" y="{high + 13}" text-anchor="middle">'
        f"{number(LOWEST_DB + STEP_DB * place, 0)}</text>"
        for place in range(0, len(LEVEL_COLOURS), 2)
    ]
    whole = 14 + wide * len(LEVEL_COLOURS) + 4
    return (
        f'<svg viewBox="0 0 {whole} {high + 18}" role="img" aria-label="Scale of the hotspots in dB re direct sound">'
        f"{''.join(boxes)}{''.join(words)}</svg>"
    )


def _shaded(colour: str, normal: FloatArray) -> str:
    """A colour a little darker for walls than for floors, so that they are told apart."""
    light = 0.955 + 0.045 * abs(float(normal[2])) - 0.05 * abs(float(normal[1]))
    return "#" + "".join(f"{round(light * int(colour[at : at + 2], 16)):02x}" for at in (1, 3, 5))


def _directions() -> FloatArray:
    """(3, 3) rows: to the right of the drawing, up in it, toward the viewer."""
    toward = np.array(TOWARD_VIEWER) / np.linalg.norm(TOWARD_VIEWER)
    right = np.cross(-toward, [0.0, 0.0, 1.0])
    right = right / np.linalg.norm(right)
    return np.stack([right, np.cross(right, -toward), toward])
