"""The room in space as a picture without words: surfaces with their hotspots, boxes, paths, ear (pyvista).

Surfaces of the room that face away from the viewer are taken away and only their edges drawn, so that one sees
inside.  Everything is drawn in plain flat colours, so that a colour means a level and not a lamp.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.colors import to_rgb

from sim.arrays import BoolArray, FloatArray
from sim.geometry.room import Room
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker
from sim.responses.records import Results, SurfaceMap
from sim.showing.map_panel import band_number, map_sheet
from sim.showing.style import FURNITURE, INK, SCALE, SOFT_INK, looks
from sim.showing.surface_views import facet_rings
from sim.showing.viewpoint import Viewpoint, dashes, first_order, path_points

LIFT_M = 0.004
"""Hotspots lie this far in front of their surface, so that the two are not mixed when drawn."""
CELL_M = 0.0125
OVERHEAD_M = 0.35
NEAR_WALL_M = 0.6
RULED_M = 0.08


def render(results: Results, view: Viewpoint, size_px: tuple[int, int], band_hz: float) -> Any:
    """Return the picture as (height, width, 3) bytes; size_px is (width, height)."""
    import pyvista
    from vtkmodules.vtkCommonCore import vtkLogger

    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
    plotter = pyvista.Plotter(off_screen=True, window_size=list(size_px))
    try:
        plotter.set_background("white")
        plotter.enable_anti_aliasing("ssaa")
        shown = shown_facets(results.built, view)
        _surfaces(plotter, results.built, shown)
        _hotspots(plotter, results, shown, band_hz)
        _edges(plotter, results.built, shown)
        _panels(plotter, results.built, shown)
        _loudspeakers_and_ear(plotter, results.built)
        _paths(plotter, results)
        plotter.camera.position = tuple(view.position)
        plotter.camera.focal_point = tuple(view.focus)
        plotter.camera.up = (0.0, 0.0, 1.0)
        plotter.camera.view_angle = view.view_angle_deg
        plotter.reset_camera_clipping_range()
        return plotter.screenshot(return_img=True)
    finally:
        plotter.close()


def shown_facets(built: BuiltScene, view: Viewpoint) -> tuple[int, ...]:
    """Facets that are drawn as surfaces: the room's that face the viewer, and furniture that hides nothing."""
    room = built.room
    facing = view.faces(room.arrays.normal, room.arrays.offset)
    boxes = built.boxes  # these are drawn by themselves
    drawn = {owner: owner not in boxes and not _hides(built, owner, view, facing) for owner in room.owners[1:]}
    drawn[room.owners[0]] = True
    return tuple(
        number
        for number, facet in enumerate(room.facets)
        if drawn[facet.owner] and (facet.owner != room.owners[0] or facing[number])
    )


def _hides(built: BuiltScene, owner: str, view: Viewpoint, facing: BoolArray) -> bool:
    """Whether a piece of furniture would stand between viewer and seat, and is drawn as an outline only.

    From above that is what hangs over the head and what stands tall before a wall that was taken away; from
    below it is everything but what hangs over the head.
    """
    room, ear_height = built.room, float(built.ears[:, 2].max())
    corners = room.triangles[room.owner_of_triangle == room.owner_number(owner)].reshape(-1, 3)
    overhead = float(corners[:, 2].min()) > ear_height + OVERHEAD_M
    if view.position[2] < built.ears[0, 2]:
        return not overhead
    tall = float(corners[:, 2].max()) > ear_height + OVERHEAD_M
    cut = (room.arrays.owner == 0) & ~facing & (np.abs(room.arrays.normal[:, 2]) < 0.5)
    away = room.arrays.normal[cut] @ corners.mean(axis=0) - room.arrays.offset[cut]
    return overhead or (tall and bool((away < NEAR_WALL_M).any()))


def _surfaces(plotter: Any, built: BuiltScene, shown: Sequence[int]) -> None:
    """Shade plain surfaces by the way they face, the only hint of light in the picture."""
    room = built.room
    for owner, base in ((0, "#fbfbfb"), (1, FURNITURE)):
        for number in shown:
            if (room.arrays.owner[number] > 0) != bool(owner):
                continue
            normal = room.facets[number].normal
            shade = 0.95 + 0.05 * abs(float(normal[2])) - 0.045 * abs(float(normal[1]))
            triangles = room.triangles[room.facet_of_triangle == number]
            colour = tuple(shade * np.array(to_rgb(base)))
            plotter.add_mesh(_soup(triangles), color=colour, lighting=False)


def _soup(triangles: FloatArray) -> Any:
    import pyvista

    corners = triangles.reshape(-1, 3)
    faces = np.column_stack([np.full(len(triangles), 3), np.arange(len(corners)).reshape(-1, 3)])
    return pyvista.PolyData(corners, faces.ravel())


def _hotspots(plotter: Any, results: Results, shown: Sequence[int], band_hz: float) -> None:
    band = band_number(results, band_hz)
    for surface_map in results.responses.maps:
        if surface_map.facet in shown:
            corners, levels = hotspot_cells(results.built.room, surface_map, surface_map.both_db[band])
            if len(levels):
                _coloured(plotter, corners, SCALE.paint(levels))


def hotspot_cells(room: Room, surface_map: SurfaceMap, levels_db: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return quads (n, 4, 3) in the room with levels (n,), finer than the map's grid, kept inside the facet.

    Levels in between are interpolated; what is below the scale is left out.
    """
    import shapely

    from sim.geometry.unions import united_polygon

    facet = room.facets[surface_map.facet]
    sheet = map_sheet(surface_map, levels_db, surface_map.plane_coordinates)
    fine = max(1, round(surface_map.grid_m / CELL_M))
    # Places run straight over the sheet and levels are interpolated, so corners and middles of fine cells are both had
    # from a grid of half a fine cell: corners at its even lines, middles at its odd ones.
    places = np.stack([_halved(sheet[axis], 2 * fine) for axis in (0, 1)], axis=-1)
    corners, middles = places[::2, ::2], places[1::2, 1::2].reshape(-1, 2)
    quads = np.stack([corners[:-1, :-1], corners[1:, :-1], corners[1:, 1:], corners[:-1, 1:]], axis=2).reshape(-1, 4, 2)
    levels = _halved(sheet[2], 2 * fine)[1::2, 1::2].ravel()
    polygon = united_polygon(facet.to_plane(room.triangles[room.facet_of_triangle == surface_map.facet]))
    keep = levels >= SCALE.low_db
    keep[keep] = shapely.contains_xy(polygon, middles[keep, 0], middles[keep, 1])
    return facet.from_plane(quads[keep]) + LIFT_M * facet.normal, levels[keep]


def _halved(values: FloatArray, parts: int) -> FloatArray:
    """Values (n, m) at `parts` times as many lines each way, in between by bilinear interpolation, ends included."""
    for axis in (0, 1):
        lines = np.arange((values.shape[axis] - 1) * parts + 1) / parts
        below = np.minimum(lines.astype(np.int64), max(values.shape[axis] - 2, 0))
        part = np.expand_dims(lines - below, 1 - axis)
        above = np.minimum(below + 1, values.shape[axis] - 1)
        values = values.take(below, axis) * (1.0 - part) + values.take(above, axis) * part
    return values


def _coloured(plotter: Any, quads: FloatArray, colours: FloatArray) -> None:
    import pyvista

    faces = np.column_stack([np.full(len(quads), 4), np.arange(4 * len(quads)).reshape(-1, 4)])
    mesh = pyvista.PolyData(quads.reshape(-1, 3), faces.ravel())
    mesh.cell_data["colour"] = np.round(255.0 * colours[:, :3]).astype(np.uint8)
    plotter.add_mesh(mesh, scalars="colour", rgb=True, lighting=False)


def _edges(plotter: Any, built: BuiltScene, shown: Sequence[int]) -> None:
    """Borders of all surfaces: dark where the surface is drawn, thin where it was taken away."""
    room = built.room
    boxes = built.boxes
    for number, facet in enumerate(room.facets):
        if facet.owner in boxes:
            continue
        drawn = number in shown
        for ring in facet_rings(room, number):
            lifted = ring + (LIFT_M * 1.5 * facet.normal if drawn else 0.0)
            segments = np.stack([lifted[:-1], lifted[1:]], axis=1)
            plotter.add_mesh(
                _lines(segments), color=INK if drawn else SOFT_INK, line_width=1.6 if drawn else 0.8, lighting=False
            )


def _lines(segments: FloatArray) -> Any:
    import pyvista

    count = len(segments)
    lines = np.column_stack([np.full(count, 2), np.arange(2 * count).reshape(-1, 2)])
    return pyvista.PolyData(segments.reshape(-1, 3), lines=lines.ravel())


def _loudspeakers_and_ear(plotter: Any, built: BuiltScene) -> None:
    import pyvista

    ways = looks([loudspeaker.name for loudspeaker in built.loudspeakers])
    for loudspeaker, look in zip(built.loudspeakers, ways, strict=True):
        corners = loudspeaker.corners
        if corners is not None:
            quads = np.array([[0, 1, 2, 3], [5, 4, 7, 6], [3, 2, 6, 7], [4, 5, 1, 0], [4, 0, 3, 7], [1, 5, 6, 2]])
            tints = np.array([0.62, 0.45, 0.75, 0.4, 0.52, 0.52])[:, None]
            colours = 1.0 - tints + tints * np.array(to_rgb(look.colour))
            _coloured(plotter, corners[quads], colours)
            pairs = np.array(
                [[0, 1], [1, 2], [2, 3], [3, 0], [4, 5], [5, 6], [6, 7], [7, 4], [0, 4], [1, 5], [2, 6], [3, 7]]
            )
            plotter.add_mesh(_lines(corners[pairs]), color=INK, line_width=1.6, lighting=False)
        ahead = _facing(built, loudspeaker)
        for driver, point in zip(loudspeaker.model.drivers, loudspeaker.driver_points, strict=True):
            size = max(driver.radius_m, 0.012)
            if corners is None:  # built in: a ring in its own colour stands for the box
                ring = pyvista.Disc(
                    center=point + 0.004 * ahead, inner=0.0, outer=1.25 * size + 0.01, normal=ahead, c_res=32
                )
                plotter.add_mesh(ring, color=look.colour, lighting=False)
            disc = pyvista.Disc(center=point + 0.006 * ahead, inner=0.0, outer=size, normal=ahead, c_res=32)
            plotter.add_mesh(disc, color=INK, lighting=False)
    for seat in built.ears:  # as rings, through which the desk behind it is seen
        for normal in np.eye(3):
            ring = pyvista.Disc(center=seat, inner=0.05, outer=0.055, normal=normal, c_res=32)
            plotter.add_mesh(ring, color=INK, lighting=False)
    half = 0.5 * built.head_box
    low, high = built.ears[0] - half, built.ears[0] + half
    box = pyvista.Box(bounds=(low[0], high[0], low[1], high[1], low[2], high[2]))
    plotter.add_mesh(box.extract_all_edges(), color=INK, line_width=1.2, lighting=False)


def _panels(plotter: Any, built: BuiltScene, shown: Sequence[int]) -> None:
    """Panels as slabs with a ruled face, through which the hotspot behind is seen; thin where the surface is away."""
    for panel in built.panels:
        drawn = bool(set(built.room.facet_numbers(panel.surface)) & set(shown))
        back, face = panel.body[:4], panel.body[4:]
        rings = [np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in (back, face)]
        frame = np.concatenate([*rings, np.stack([back, face], axis=1)])
        width = 2.0 if drawn else 0.8
        plotter.add_mesh(_lines(frame), color=INK if drawn else SOFT_INK, line_width=width, lighting=False)
        if drawn:
            plotter.add_mesh(_lines(_ruled(face)), color=SOFT_INK, line_width=0.9, lighting=False)


def _ruled(face: FloatArray) -> FloatArray:
    """Lines (n, 2, 3) across a face (4, 3), parallel to its shorter side, about `RULED_M` apart."""
    sides = np.linalg.norm(face[[1, 2]] - face[[0, 1]], axis=1)
    long = int(np.argmax(sides))
    turned = np.roll(face, -long, axis=0)
    share = np.linspace(0.0, 1.0, max(2, round(float(sides[long]) / RULED_M)) + 1)[1:-1, None]
    return np.stack([turned[0] + share * (turned[1] - turned[0]), turned[3] + share * (turned[2] - turned[3])], axis=1)


def _facing(built: BuiltScene, loudspeaker: PlacedLoudspeaker) -> FloatArray:
    """Where the front looks, (3,): for drivers in a wall as the wall does, whatever the tilt, so that none is sunk."""
    walls = [facet for facet in built.room.facets if facet.name in loudspeaker.built_into]
    if not walls:
        return loudspeaker.rotation[:, 0]
    point = loudspeaker.driver_points[0]
    return min(walls, key=lambda facet: abs(float(facet.normal @ point) - facet.offset_m)).normal


def _paths(plotter: Any, results: Results) -> None:
    """First-order paths as tubes, told apart by colour and dashes, with a bead at each reflection point."""
    import pyvista

    ways = looks([loudspeaker.name for loudspeaker in results.built.loudspeakers])
    numbers = {loudspeaker.name: number for number, loudspeaker in enumerate(results.built.loudspeakers)}
    for arrival in first_order(results):
        number = numbers[arrival.loudspeaker]
        points = path_points(results, arrival)
        tube = _lines(dashes(points, number)).tube(radius=0.006, n_sides=8)
        plotter.add_mesh(tube, color=ways[number].colour, lighting=False)
        for point in points[1:-1]:
            bead: Any = pyvista.Sphere(radius=0.03, center=tuple(point))
            if number % 2:
                bead = pyvista.Cube(center=tuple(point), x_length=0.052, y_length=0.052, z_length=0.052)
            plotter.add_mesh(bead, color=ways[number].colour, lighting=False)
